"""`coverage-audit loss`: what is lost with a box, a drive, a room, an account or a site, and when it is back."""

from __future__ import annotations

import sys
from importlib.metadata import version
from pathlib import Path
from typing import Final

import click

from coverage_audit.audits.audit import run_audit
from coverage_audit.audits.losing import Lost, lose
from coverage_audit.cli.places import estate_option, state_option
from coverage_audit.cli.progress import walking
from coverage_audit.cli.replacing import count_option, replace_option, replacing_of
from coverage_audit.cli.screen import screen
from coverage_audit.errors import EX_CONFORMING, EX_EVIDENCE_MISSING, EX_NONCONFORMING
from coverage_audit.estate.model import Estate
from coverage_audit.estate.reader import read_estate
from coverage_audit.evidence.visible import visible
from coverage_audit.reports.auditor_sheet import auditor_sheet
from coverage_audit.reports.lead import FRESH
from coverage_audit.reports.loss_json import loss_json
from coverage_audit.reports.loss_page import loss_page
from coverage_audit.reports.loss_text import loss_text
from coverage_audit.reports.recovery_sheet import recovery_sheet
from coverage_audit.reports.writing import write_page
from coverage_audit.scenarios.extent import volume_of
from coverage_audit.scenarios.loss import Fate, LossTable
from coverage_audit.scenarios.naming import domain_named
from coverage_audit.wiring import assembled, own_in, reading, wall_clock

EPILOG: Final = (
    "Exit status: 0 no single failure that was asked about loses a dataset whole, 1 one does, 69 after one nothing "
    "shows that a dataset is left, something was not judged, or there is no audit of the last night; 64 DOMAIN is "
    "nothing of this estate, 73 a page cannot be written, 75 an audit is running, 78 the estate file is wrong."
)


@click.command("loss", epilog=EPILOG)
@click.argument("domain", required=False)
@click.option("--json", "as_json", is_flag=True, help="Print one JSON object instead of text.")
@click.option("--html", "page_file", type=click.Path(path_type=Path, dir_okay=False), help="Write the page here.")
@click.option(
    "--sheet", "sheet_file", type=click.Path(path_type=Path, dir_okay=False), help="Write a page to print here."
)
@click.option("--fresh", is_flag=True, help="Audit first, and go by that.")
@replace_option
@count_option
@estate_option
@state_option
def command(  # noqa: PLR0913 - one argument for each word of the command
    *,
    domain: str | None,
    as_json: bool,
    page_file: Path | None,
    sheet_file: Path | None,
    fresh: bool,
    replace: str | None,
    count: int | None,
    estate_file: Path,
    state_folder: Path,
) -> int:
    """Show what is lost if DOMAIN were gone tomorrow, how far back the rest falls, and how long until it is back.

    DOMAIN is a device (kestrel), a volume (kestrel:main), its second drive (kestrel:main#2), or what devices share
    (room=lab, account=admin, site=station). Without it: all of them, the worst first, and the fewest failures that
    together lose each dataset. It goes by the newest audit of all datasets; no device is asked.

    The sheet is of DOMAIN: how to bring back what was on it. Without DOMAIN it is the auditor's own, to be rebuilt from
    nothing.
    """
    estate = read_estate(estate_file)
    gone = domain_named(domain, estate) if domain is not None else None
    volume = None if gone is None else volume_of(gone, estate)
    replacing = replacing_of(replace, count, volume, "coverage-audit loss DEVICE:VOLUME")
    if fresh:
        with walking(sys.stderr) as progress, assembled(estate, state_folder, progress=progress) as parts:
            run_audit(estate, (), parts)
    now = wall_clock()
    with reading(state_folder) as ledger:
        lost = lose(estate, ledger, now, gone, replacing)
        judged = ledger.past.judged()
    if sheet_file and gone is None:
        own = own_in(estate, state_folder)
        write_page(sheet_file, auditor_sheet(estate, own, judged, now=now, version=version("coverage-audit")))
    if lost.table is None:
        click.echo(f"coverage-audit: {visible(lost.why)}", err=True)
        return EX_EVIDENCE_MISSING
    if page_file:
        write_page(page_file, loss_page(lost.table, estate, lost.changes, lost.loads))
    if sheet_file and gone is not None:
        write_page(sheet_file, recovery_sheet(lost.table.losses[0], lost.table, estate, lost.changes))
    click.echo(_printed(lost, lost.table, estate, as_json=as_json), nl=False)
    return _status(lost.table)


def _printed(lost: Lost, table: LossTable, estate: Estate, *, as_json: bool) -> str:
    if as_json:
        return loss_json(table, lost.changes, lost.loads) + "\n"
    out = screen()
    return loss_text(table, estate, width=out.width, colour=out.colour, changes=lost.changes, loads=lost.loads)


def _status(table: LossTable) -> int:
    if any(loss.of(Fate.LOST) for loss in table.losses):
        return EX_NONCONFORMING
    unknown = table.unjudged or table.at - table.as_of > FRESH or any(loss.of(Fate.NOT_SHOWN) for loss in table.losses)
    return EX_EVIDENCE_MISSING if unknown else EX_CONFORMING

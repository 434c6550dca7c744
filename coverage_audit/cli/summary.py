"""`coverage-audit summary`: the weekly page of what is recorded, now and without an audit."""

from __future__ import annotations

from pathlib import Path
from typing import Final

import click

from coverage_audit.cli.audit import undelivered
from coverage_audit.cli.places import estate_option, state_option
from coverage_audit.errors import EX_CONFORMING, EX_EVIDENCE_MISSING, EX_NOTICE_FAILED
from coverage_audit.estate.model import Estate, NoticeKind
from coverage_audit.estate.reader import read_estate
from coverage_audit.evidence.visible import visible
from coverage_audit.notices.delivery import Failed
from coverage_audit.reports.summing_up import is_fresh, summary_text
from coverage_audit.reports.writing import write_page
from coverage_audit.wiring import Summary, make_summary, reading, send_all, wall_clock

EPILOG: Final = (
    "Exit status: 0 the page rests on the audit of the last night, whatever that concluded; 69 it does not, or there "
    "is none; 75 another process makes the page just now; 76 a notice could not be delivered; 78 the estate file is "
    "wrong."
)


@click.command("summary", epilog=EPILOG)
@click.option("--html", "page_file", type=click.Path(path_type=Path, dir_okay=False), help="Write the page here, too.")
@click.option("--send", is_flag=True, help="Send it now to the addresses that want it, as today's page.")
@estate_option
@state_option
def command(*, page_file: Path | None, send: bool, estate_file: Path, state_folder: Path) -> int:
    """Make the weekly page out of what is recorded: nothing is audited and no device is asked.

    It is kept in the state folder, in summaries/, under today's date. Each date's page is sent once.
    """
    estate, now = read_estate(estate_file), wall_clock()
    with reading(state_folder) as ledger:
        made = make_summary(estate, ledger, now.astimezone(estate.time_zone).date(), clock=lambda: now, send=send)
        outcomes = send_all(estate, ledger) if send else ()
    if page_file:
        write_page(page_file, made.page)
    click.echo(summary_text(made.summed, estate), nl=False)
    click.echo(f"The page: {visible(str(page_file or made.kept))}")
    for said in _of_sending(made, estate) if send else ():
        click.echo(f"coverage-audit: {said}", err=True)
    for said in dict.fromkeys(undelivered(outcome, estate) for outcome in outcomes):
        if said:
            click.echo(f"coverage-audit: {said}", err=True)
    if any(isinstance(outcome, Failed) for outcome in outcomes):
        return EX_NOTICE_FAILED
    return EX_CONFORMING if is_fresh(made.summed, estate) else EX_EVIDENCE_MISSING


def _of_sending(made: Summary, estate: Estate) -> tuple[str, ...]:
    """Say why nothing was put into the outbox, where nothing was."""
    if not any(NoticeKind.SUMMARY in target.send for target in estate.notices):
        return ("no address of the estate wants it (`send: [summary]`)",)
    return () if made.sent else (f"it was sent before: {visible(str(made.kept))}",)

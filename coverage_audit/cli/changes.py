"""`coverage-audit changes`: what changed since a date, and how coverage did."""

from __future__ import annotations

from pathlib import Path

import click

from coverage_audit.audits.looking_back import begin_of, look_back
from coverage_audit.cli.places import estate_option, state_option
from coverage_audit.cli.screen import screen
from coverage_audit.errors import EX_CONFORMING, EX_EVIDENCE_MISSING
from coverage_audit.estate.reader import read_estate
from coverage_audit.reports.changes import changes_of
from coverage_audit.reports.changes_json import changes_json
from coverage_audit.reports.changes_page import changes_page
from coverage_audit.reports.changes_text import changes_text
from coverage_audit.reports.writing import write_page
from coverage_audit.wiring import reading, wall_clock

EPILOG = (
    "Exit status: 0 it was told, 64 the date makes no sense, 69 no audit is recorded, 73 the page cannot be written, "
    "78 the estate file is wrong."
)


@click.command("changes", epilog=EPILOG)
@click.option("--since", "since", required=True, metavar="DATE", help="A date (2025-11-27) or a duration (90d, 52w).")
@click.option("--json", "as_json", is_flag=True, help="Print one JSON object instead of text.")
@click.option(
    "--html", "page_file", metavar="FILE", type=click.Path(path_type=Path, dir_okay=False), help="Write the page here."
)
@estate_option
@state_option
def command(*, since: str, as_json: bool, page_file: Path | None, estate_file: Path, state_folder: Path) -> int:
    """Look back: what changed in the estate since DATE, and how coverage did.

    Nothing is audited: it tells what the ledger kept.
    """
    estate, now = read_estate(estate_file), wall_clock()
    asked = begin_of(since, now, estate.time_zone)
    with reading(state_folder) as ledger:
        looked = look_back(estate, asked, ledger, now)
    if looked is None:
        click.echo("coverage-audit: no audit is recorded yet, so there is nothing to look back on", err=True)
        return EX_EVIDENCE_MISSING
    changes = changes_of(looked, now)
    if page_file:
        write_page(page_file, changes_page(changes, now))
    if as_json:
        click.echo(changes_json(changes))
    else:
        out = screen()
        click.echo(changes_text(changes, width=out.width, colour=out.colour), nl=False)
    return EX_CONFORMING

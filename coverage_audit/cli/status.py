"""`coverage-audit status`: whether the auditor does its work, for people and for scripts."""

from __future__ import annotations

from pathlib import Path
from typing import Final

import click

from coverage_audit.audits.status import Standing, status_of
from coverage_audit.cli.places import estate_option, state_option
from coverage_audit.daemon.timetable import timetable
from coverage_audit.errors import EX_CONFORMING, EX_EVIDENCE_MISSING, EX_NONCONFORMING, EX_NOTICE_FAILED
from coverage_audit.estate.reader import read_estate
from coverage_audit.reports.status import status_text
from coverage_audit.reports.status_json import status_json
from coverage_audit.wiring import reading, wall_clock

EXITS: Final = {
    Standing.GOOD: EX_CONFORMING,
    Standing.NONCONFORMING: EX_NONCONFORMING,
    Standing.UNVERIFIED: EX_EVIDENCE_MISSING,
    Standing.OVERDUE: EX_EVIDENCE_MISSING,
    Standing.UNDELIVERED: EX_NOTICE_FAILED,
}
EPILOG: Final = (
    "Exit status: 69 no audit has finished within the schedule and 8 hours of grace, whatever the last one said; else "
    "76 a notice was not delivered for more than a day; else as the last audit concluded: 0 conforming, 1 "
    "nonconforming, 69 evidence is missing, or something was declared otherwise since. 74 the ledger cannot be "
    "read, 78 the estate file is wrong."
)


@click.command("status", epilog=EPILOG)
@click.option("--json", "as_json", is_flag=True, help="Print one JSON object instead of text.")
@estate_option
@state_option
def command(*, as_json: bool, estate_file: Path, state_folder: Path) -> int:
    """Show the last and the next audit, what failed, what was not delivered, and how old all evidence is.

    It asks the ledger and not the daemon: let something outside of it run it, and act on its exit status.
    """
    estate, now = read_estate(estate_file), wall_clock()
    with reading(state_folder) as ledger:
        status = status_of(estate, ledger, now, timetable(estate, now))
    click.echo(status_json(status) + "\n" if as_json else status_text(status), nl=False)
    return EXITS[status.standing]

"""`coverage-audit waive`: accept a finding for a while, see what is accepted, end it."""

from __future__ import annotations

import getpass
from datetime import timedelta
from pathlib import Path

import click

from coverage_audit.audits.waiving import give
from coverage_audit.cli.places import estate_option, state_option
from coverage_audit.cli.refusing import refuse
from coverage_audit.cli.stored import stored_finding
from coverage_audit.errors import EX_CONFORMING, UsageError
from coverage_audit.estate.reader import read_estate
from coverage_audit.estate.spelling import nearest
from coverage_audit.evidence.visible import visible
from coverage_audit.judgement.wording import last_day
from coverage_audit.ledger.ledger import Ledger
from coverage_audit.reports.waivers import waivers_text
from coverage_audit.wiring import reading, wall_clock

_LATELY = timedelta(days=90)


@click.command("waive", epilog="Exit status: 0 done, 64 usage or a finding that cannot be waived.")
@click.argument("finding", required=False, metavar="[FINDING]")
@click.option("--until", metavar="DATE", help="The last day on which it holds, e.g. 2026-12-24: a year ahead at most.")
@click.option("--why", metavar="TEXT", help="Why it is accepted; shown wherever the finding is.")
@click.option("--who", metavar="NAME", help="Who accepts it.  [default: your login name]")
@click.option("--end", "ending", is_flag=True, help="End the waiver of FINDING now.")
@click.option("--list", "listing", is_flag=True, help="List the waivers that stand, and those that ended lately.")
@estate_option
@state_option
def command(  # noqa: PLR0913 - one an option
    *,
    finding: str | None,
    until: str | None,
    why: str | None,
    who: str | None,
    ending: bool,
    listing: bool,
    estate_file: Path,
    state_folder: Path,
) -> int:
    """Accept FINDING (an id that `audit` prints) until the end of a day.

    It stays visible and counted, and wakes up when its time ends or when it gets worse. Damaged content, and another
    volume than the one pinned, cannot be waived.
    """
    estate, now = read_estate(estate_file), wall_clock()
    if listing:
        refuse(finding or until or why or who or ending, "--list stands alone")
        with reading(state_folder) as ledger:
            text = waivers_text(
                ledger.waivers.standing(), ledger.waivers.ended_since(now - _LATELY), now, estate.time_zone
            )
        click.echo(text, nl=False)
        return EX_CONFORMING
    if finding is None:
        raise UsageError("name the finding: waive FINDING --until DATE --why TEXT (or --list)")
    name = getpass.getuser() if who is None else who
    with reading(state_folder) as ledger:
        if ending:
            refuse(until or why, "--end goes without --until and --why")
            _end(ledger, finding, name)
            return EX_CONFORMING
        if until is None or why is None:
            raise UsageError("say until when and why: waive FINDING --until DATE --why TEXT")
        stored = stored_finding(ledger, finding)
        end = give(estate, ledger, stored, until=until, why=why, who=name, now=now)
    click.echo(f"waived until {last_day(end, estate.time_zone)}: {stored.finding.id}")
    click.echo("The next audit holds it against the evidence: it stays visible, and wakes up if it got worse.")
    return EX_CONFORMING


def _end(ledger: Ledger, finding: str, who: str) -> None:
    if ledger.waivers.end(finding, wall_clock(), f"ended by {who}"):
        click.echo(f"ended: {finding} is waived no more, from the next audit on")
        return
    guess = nearest(finding, [waiver.name for waiver in ledger.waivers.standing()])
    hint = f"did you mean '{guess}'?" if guess else "`coverage-audit waive --list` lists them"
    raise UsageError(f"no waiver stands for '{visible(finding)}'; {hint}")

"""`coverage-audit explain`: the evidence behind one finding, and the files it is about."""

from __future__ import annotations

import itertools
from pathlib import Path

import click

from coverage_audit.cli.places import estate_option, state_option
from coverage_audit.cli.screen import screen
from coverage_audit.cli.stored import stored_finding
from coverage_audit.comparison.rows import differing_rows
from coverage_audit.estate.former import lineage_of
from coverage_audit.estate.model import Estate
from coverage_audit.estate.reader import read_estate
from coverage_audit.judgement.rules.catalogue import RULES
from coverage_audit.judgement.subjects import place_subject
from coverage_audit.ledger.ledger import Ledger
from coverage_audit.ledger.record import StoredFinding
from coverage_audit.reports.explanation import explain_text
from coverage_audit.reports.rows import row_text
from coverage_audit.reports.waivers import waiver_text
from coverage_audit.wiring import reading


@click.command("explain")
@click.argument("finding")
@click.option(
    "--rows", type=click.IntRange(min=0), default=20, show_default=True, help="How many differing files to list."
)
@estate_option
@state_option
def command(*, finding: str, rows: int, estate_file: Path, state_folder: Path) -> int:
    """Show what FINDING (an id that `audit` prints) rests on, step by step, and how to mend it."""
    estate = read_estate(estate_file)
    with reading(state_folder) as ledger:
        stored = stored_finding(ledger, finding)
        out = screen()
        click.echo(
            explain_text(
                stored.finding,
                _documentation(stored.finding.rule),
                since=stored.since,
                audited=stored.at,
                zone=estate.time_zone,
                width=out.width,
                colour=out.colour,
            ),
            nl=False,
        )
        pending = [waiver for waiver in ledger.waivers.standing() if waiver.name == stored.finding.id]
        if pending and stored.finding.acceptance is None:
            click.echo(f"\n{waiver_text(pending[-1], estate.time_zone)} The next audit holds it against the evidence.")
        if not stored.current:
            click.echo("\nThis finding is not asked for any more: its subject has left the estate.")
        _list_rows(estate, stored, ledger, rows)
    return 0


def _documentation(rule: str) -> str:
    return next((known.doc for known in RULES if known.id == rule), "")


def _list_rows(estate: Estate, stored: StoredFinding, ledger: Ledger, most: int) -> None:
    """List the files that differ, where the finding is about one copy and its last comparison found any."""
    relation = _relation(estate, stored, ledger)
    if relation is None or most == 0:
        return
    shown = list(itertools.islice(differing_rows(relation), most + 1))
    if shown:
        click.echo("\nWhat differs, as last compared:")
    for row in shown[:most]:
        click.echo(row_text(row, estate.time_zone))
    if len(shown) > most:
        click.echo(f"  ... and more; --rows {most * 10} lists more of them")


def _relation(estate: Estate, stored: StoredFinding, ledger: Ledger) -> Path | None:
    for dataset in estate.datasets:
        for copy in dataset.copies:
            if place_subject(dataset.id, copy.address) == stored.finding.subject:
                earlier = ledger.earlier(dataset.id, copy.address, lineage_of(estate))
                return earlier.relation if earlier else None
    return None

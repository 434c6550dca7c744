"""`coverage-audit seen`: say that a weekly mail was read."""

from __future__ import annotations

import getpass
from pathlib import Path

import click

from coverage_audit.cli.places import estate_option, state_option
from coverage_audit.errors import EX_CONFORMING, UsageError
from coverage_audit.estate.model import NoticeKind
from coverage_audit.estate.reader import read_estate
from coverage_audit.evidence.visible import visible
from coverage_audit.ledger.reader_book import Reader
from coverage_audit.notices.reading import ASKED_EVERY, whose
from coverage_audit.wiring import reading, wall_clock


@click.command("seen", epilog="Exit status: 0 noted, 64 no weekly mail bears this word, 78 the estate file is wrong.")
@click.argument("word", metavar="WORD")
@click.option("--who", metavar="NAME", help="Who has read it.  [default: your login name]")
@estate_option
@state_option
def command(*, word: str, who: str | None, estate_file: Path, state_folder: Path) -> int:
    """Say that you have read the weekly mail that bears WORD: that a server took it shows nobody who reads it."""
    estate = read_estate(estate_file)
    targets = [target.name for target in estate.notices if NoticeKind.SUMMARY in target.send]
    name = " ".join((getpass.getuser() if who is None else who).split())
    if not name:
        raise UsageError("--who: say it in words")
    with reading(state_folder) as ledger:
        found = whose(word, targets, ledger.summaries.made(), ledger.seed)
        if found is None:
            raise UsageError(f"no weekly mail to an address of this estate bears the word '{visible(word)}'")
        target, page_of = found
        ledger.readers.note(Reader(target=target, page_of=page_of, who=name, at=wall_clock()))
    days = ASKED_EVERY.days
    click.echo(f"noted: what goes to '{visible(target)}' is read ({visible(name)}, the mail of {page_of})")
    click.echo(f"It is asked again in {days} days.")
    return EX_CONFORMING

"""`coverage-audit drill`: read files back out of a copy, and see that they are what they should be."""

from __future__ import annotations

import os
import sys
from datetime import date
from pathlib import Path

import click

from coverage_audit.audits.drill_by_hand import HandDrill, record_by_hand
from coverage_audit.audits.drill_wish import DEFAULT_FILES, DrillWish
from coverage_audit.audits.drilling import run_drill
from coverage_audit.cli.places import estate_option, state_option
from coverage_audit.cli.progress import walking
from coverage_audit.cli.refusing import refuse
from coverage_audit.errors import EX_CONFORMING, EX_EVIDENCE_MISSING, EX_NONCONFORMING, UsageError
from coverage_audit.estate.model import Estate
from coverage_audit.estate.reader import read_estate
from coverage_audit.evidence.drilling import Drill, DrillOutcome, Fate
from coverage_audit.reports.drill import by_hand_text, drill_json, drill_text
from coverage_audit.wiring import assembled, reading, wall_clock

EPILOG = (
    "Exit status: 0 restored (or noted), 1 something is damaged, 64 usage, 69 it was not shown that the copy can be "
    "read back, 75 an audit is running, 78 the estate file is wrong."
)


@click.command("drill", epilog=EPILOG)
@click.argument("dataset")
@click.option("--copy", metavar="ADDRESS", help="From this copy.  [default: the one that waits longest]")
@click.option(
    "--files", "count", type=click.IntRange(1, 100_000), help=f"So many files, at random.  [default: {DEFAULT_FILES}]"
)
@click.option("--path", "paths", multiple=True, metavar="PATH", help="This file, below the original; may be repeated.")
@click.option(
    "--scratch",
    type=click.Path(path_type=Path, file_okay=False, exists=True, writable=True),
    help="Read onto the disk of this folder.  [default: the state folder]",
)
@click.option("--by-hand", is_flag=True, help="Read nothing: note what somebody restored by hand.")
@click.option("--who", metavar="NAME", help="With --by-hand: who did it.")
@click.option("--what", metavar="TEXT", help="With --by-hand: what was restored, and how it was seen to be right.")
@click.option("--on", metavar="DATE", help="With --by-hand: on that day (YYYY-MM-DD).  [default: now]")
@click.option("--json", "as_json", is_flag=True, help="Print one JSON object instead of text.")
@estate_option
@state_option
def command(  # noqa: PLR0913 - one an option
    *,
    dataset: str,
    copy: str | None,
    count: int | None,
    paths: tuple[str, ...],
    scratch: Path | None,
    by_hand: bool,
    who: str | None,
    what: str | None,
    on: str | None,
    as_json: bool,
    estate_file: Path,
    state_folder: Path,
) -> int:
    """Read files of DATASET back out of a copy, over the copy's own way, and hold them against the originals.

    They pass over the scratch disk without a name: nothing of them is left there, whatever ends the drill. What
    drills found damaged is read again with every drill, until it is right. Files by name, or fewer than 20, mend that
    and do not count as the drill that a policy asks for.
    """
    estate = read_estate(estate_file)
    if by_hand:
        refuse(count or paths or scratch, "--by-hand goes with --copy, --who, --what and --on alone")
        if who is None or what is None:
            raise UsageError("--by-hand: say who did it and what was restored: --who NAME --what TEXT")
        done = HandDrill(dataset=dataset, copy=copy, who=who, what=what, on=_day(on))
        return _by_hand(estate, state_folder, done, as_json=as_json)
    refuse(who or what or on, "--who, --what and --on go together with --by-hand")
    refuse(count and paths, "--files draws files at random, --path names them: give one of the two")
    wish = DrillWish(
        dataset=dataset,
        copy=copy,
        count=count or DEFAULT_FILES,
        paths=tuple(map(_below, paths)),
        scratch=None if scratch is None else scratch.resolve(),
    )
    with walking(sys.stderr) as progress, assembled(estate, state_folder, progress=progress) as parts:
        drilled = run_drill(estate, wish, parts)
    click.echo(
        drill_json(drilled.drill, drilled) + "\n" if as_json else drill_text(drilled, estate.time_zone), nl=False
    )
    return _status(drilled.drill)


def _by_hand(estate: Estate, state: Path, done: HandDrill, *, as_json: bool) -> int:
    with reading(state) as ledger:
        drill = record_by_hand(estate, done, wall_clock(), ledger)
    click.echo(drill_json(drill) + "\n" if as_json else by_hand_text(drill, estate.time_zone), nl=False)
    return EX_CONFORMING


def _status(drill: Drill) -> int:
    if drill.outcome is DrillOutcome.DAMAGED or any(one.fate is Fate.ORIGINAL for one in drill.incidents):
        return EX_NONCONFORMING
    return EX_CONFORMING if drill.outcome is DrillOutcome.RESTORED else EX_EVIDENCE_MISSING


def _below(path: str) -> bytes:
    """Return a path below the original. Raises UsageError for one that leads elsewhere."""
    name = os.fsencode(path)
    refuse(
        not name or name.startswith(b"/") or {b"", b".", b".."} & set(name.split(b"/")),
        f"--path: write it as it lies below the original, without . and .. and /: {path!a}",
    )
    return name


def _day(on: str | None) -> date | None:
    if on is None:
        return None
    try:
        return date.fromisoformat(on)
    except ValueError:
        raise UsageError(f"--on: write the day as YYYY-MM-DD, not {on!a}") from None

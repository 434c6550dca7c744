"""Sentences about what a place lost or rewrote at once: by files and by bytes, with the largest and the oldest."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Final

from coverage_audit.estate.units import format_size
from coverage_audit.evidence.instants import from_ns
from coverage_audit.evidence.turnover import FormerFile, MassChange, Sign, Turnover
from coverage_audit.evidence.visible import visible
from coverage_audit.judgement.context import DatasetContext
from coverage_audit.judgement.wording import day, files
from coverage_audit.reckoning import shrinking

_NAMED: Final = 3


def signs(change: MassChange) -> Iterator[str]:
    """Say what the change looks like."""
    turnover = change.turnover
    if turnover.now.files == 0 and turnover.before.files:
        yield "nothing at all is left: a disk that is not mounted looks like that, too"
    if Sign.SUFFIXED in change.signs:
        suffix = f"“{visible(turnover.suffix)}”"
        yield (
            f"{files(turnover.suffixed.files)} went each while one of its name with the suffix {suffix} came: "
            "mass encryption looks like that"
        )
    if turnover.emptied.files:
        yield f"{files(turnover.emptied.files)} hold no byte any more"


def measured(turnover: Turnover) -> str:
    """Say how much was lost, and rewritten if any was."""
    lost, before = turnover.lost, turnover.before
    said = (
        f"{_part(lost.files, before.files)} of {files(before.files)} and {_part_of_bytes(lost.bytes, before.bytes)} of "
        f"{format_size(before.bytes)} lost"
    )
    rewritten = turnover.rewritten.files
    return f"{said}, {_part(rewritten, before.files)} rewritten" if rewritten else said


def _part(count: int, whole: int) -> str:
    return f"{count} ({_percent(count, whole)})" if count else "none"


def _part_of_bytes(size: int, whole: int) -> str:
    return f"{format_size(size)} ({_percent(size, whole)})" if size else "nothing"


def _percent(part: int, whole: int) -> str:
    share = 100 * part / whole if whole else 0.0
    return f"{share:.0f}%" if share >= 1 else "under 1%"


def named(turnover: Turnover, context: DatasetContext) -> Iterator[str]:
    """Name the largest and the oldest of it."""
    if turnover.largest:
        sized = (f"“{visible(file.path)}” ({format_size(file.size)})" for file in turnover.largest[:_NAMED])
        yield f"the largest: {', '.join(sized)}"
    if turnover.oldest:
        dated = (f"“{visible(file.path)}” ({_dated(file, context)})" for file in turnover.oldest[:_NAMED])
        yield f"the oldest: {', '.join(dated)}"


def _dated(file: FormerFile, context: DatasetContext) -> str:
    try:
        return day(from_ns(file.mtime_ns), context.zone)
    except OverflowError:
        return "of a time that cannot be"


def touched(turnover: Turnover) -> str:
    """Say how much was touched and looks as before."""
    told = f"{turnover.touched.files} of {files(turnover.before.files)}"
    return (
        f"{told} were written to, or had their permissions or links changed, with size and time as before: "
        "no copy that goes by these takes such a change over, and none shows it"
    )


def degree(turnover: Turnover) -> float:
    """Return the largest of the shares, for what is worse than before."""
    found = shrinking.shares(turnover)
    return round(max(found.lost_files, found.lost_bytes, found.rewritten), 4)

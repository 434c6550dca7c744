"""Dump size: the newest dump is as large as dumps of this dataset are.

What it asks: `dump_size` of the policy, of each copy that consists of dated files (or whose command tells sizes): the
newest is not empty, does not begin like an error message (of the newest few, those up to 64 KiB are read, where the
box lets content be sent), and is no smaller than that share of the median of up to thirty before it, three at least.
Those that were deleted meanwhile count as far as they are remembered.

Why: a dump that failed half-way, or holds nothing but an error message, bears the right name and date, and is much
smaller than the one of the night before.

How to mend: look into the newest dump and the log of the job that wrote it. If the data did shrink, the finding ends
once the smaller dumps are the usual ones; a waiver says so until then.

The control: NIST SP 800-53 Rev. 5 CP-9(1) (the integrity of backup information).
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime
from statistics import median
from typing import Final

from coverage_audit.estate.sources import DatedFiles
from coverage_audit.estate.units import format_share, format_size
from coverage_audit.evidence.facts import PointList, RecoveryPoint
from coverage_audit.evidence.visible import visible
from coverage_audit.judgement.context import DatasetContext
from coverage_audit.judgement.dated import Dated, dated_copies
from coverage_audit.judgement.observing import of_copy
from coverage_audit.judgement.rule import Rule, supports
from coverage_audit.judgement.subjects import dataset_subject, place_subject
from coverage_audit.judgement.verdict import Answer, Finding

RULE = Rule(
    id="dump-size",
    title="Size of the newest dump",
    control=supports("NIST SP 800-53 Rev. 5 CP-9(1)"),
    doc=__doc__ or "",
)

_HISTORY: Final = 30
_LEAST: Final = 3
_RECENT: Final = 7
_MEND: Final = "Look into the newest dump and the log of the job that wrote it."


@dataclass(frozen=True, kw_only=True)
class _Said:
    answer: Answer
    measured: str
    message: str
    usual: float | None = None


def check(context: DatasetContext) -> Iterable[Finding]:
    """Hold the newest dump of each copy of dumps against those before it."""
    if context.policy.dump_size is None:
        return
    dumps = [one for one in dated_copies(context) if _has_sizes(one)]
    if not dumps:
        said = _Said(answer=Answer.UNVERIFIED, measured="no dumps", message="none of its copies consists of dumps")
        yield _finding(context, None, said, context.policy.dump_size)
    for one in dumps:
        yield _finding(context, one, _judged(one, context.policy.dump_size, context), context.policy.dump_size)


def _has_sizes(one: Dated) -> bool:
    seen = one.copy.evidence.points
    sized = isinstance(seen, PointList) and any(point.size is not None for point in (*seen.points, *seen.thin))
    return sized or isinstance(one.copy.evidence.copy.points, DatedFiles)


def _judged(one: Dated, share: float, context: DatasetContext) -> _Said:
    seen = one.copy.evidence.points
    if one.unknown or one.at is None or not isinstance(seen, PointList):
        return _Said(answer=Answer.UNVERIFIED, measured="not known", message=f"its dumps are not known: {one.unknown}")
    latest = one.at + context.estate.limits.clock_tolerance
    there = (point for point in (*seen.points, *seen.thin) if point.earliest <= latest)
    points = sorted(there, key=lambda point: point.earliest)
    if not points:
        return _Said(answer=Answer.NONCONFORMITY, measured="no dump", message="there is no dump at all")
    size, name = points[-1].size, f"“{visible(points[-1].name)}”"
    if size is None:
        return _Said(answer=Answer.UNVERIFIED, measured="size not shown", message=f"the size of {name} is not shown")
    if size == 0:
        return _Said(answer=Answer.NONCONFORMITY, measured="0 B", message=f"the newest dump {name} is empty")
    if points[-1].doubts and points[-1] in seen.thin:
        why = points[-1].doubts[0]
        return _Said(answer=Answer.NONCONFORMITY, measured="an error message", message=f"the newest dump {name}: {why}")
    return _against_usual(name, size, points, _history(one, points)[-_HISTORY:], share)


def _against_usual(name: str, size: int, points: list[RecoveryPoint], history: list[int], share: float) -> _Said:
    measured = format_size(size)
    if len(history) < _LEAST:
        few = f"{name} is of {measured}; to tell what is usual, {_LEAST} before it are needed ({len(history)} known)"
        return _Said(answer=Answer.UNVERIFIED, measured=measured, message=few)
    usual = median(history)
    if size < share * usual:
        small = f"the newest dump {name} is of {measured}, where {format_size(round(usual))} is usual"
        return _Said(answer=Answer.NONCONFORMITY, measured=measured, message=small, usual=usual)
    odd = [point for point in points[-_RECENT - 1 : -1] if point.size is not None and point.size < share * usual]
    if odd:
        names = ", ".join(f"“{visible(point.name)}” ({format_size(point.size or 0)})" for point in odd)
        less = f"{name} is as large as usual ({measured}), but lately there were smaller ones: {names}"
        return _Said(answer=Answer.OBSERVATION, measured=measured, message=less, usual=usual)
    fine = f"the newest dump {name} is of {measured}, {format_size(round(usual))} is usual"
    return _Said(answer=Answer.CONFORMITY, measured=measured, message=fine, usual=usual)


def _history(one: Dated, points: list[RecoveryPoint]) -> list[int]:
    """Return the sizes of the dumps before the newest that are not empty, those that left with them, in order."""
    known: list[tuple[datetime, int]] = [(point.earliest, point.size) for point in points[:-1] if point.size]
    known += [(left.at, left.size) for left in one.left if left.size and left.at < points[-1].earliest]
    return [size for _, size in sorted(known)]


def _finding(context: DatasetContext, one: Dated | None, said: _Said, share: float) -> Finding:
    name = context.dataset.id
    usual = f" of the usual {format_size(round(said.usual))}" if said.usual is not None else " of what is usual"
    return Finding(
        rule=RULE.id,
        subject=dataset_subject(name) if one is None else place_subject(name, one.copy.address),
        answer=said.answer,
        measured=said.measured,
        required=f"at least {format_share(share)}{usual}",
        message=f"{name if one is None else one.copy.address}: {said.message}.",
        mend="" if said.answer is Answer.CONFORMITY else _MEND,
        evidence=() if one is None else of_copy(one.copy),
        control=RULE.control,
    )

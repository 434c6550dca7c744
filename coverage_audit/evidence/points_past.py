"""What is remembered of a dated copy's recovery points: since when it is listed, the oldest ever seen, what left.

A list of points holds only what is there; a point that was there and went is known by the lists before. All instants
are aware and in UTC.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Final

from coverage_audit.evidence.facts import PointList, RecoveryPoint

LEFT_KEPT: Final = 1000
"""So many of the points that left last are remembered one by one; of those before, the oldest ever seen."""
LISTS_KEPT: Final = 60


@dataclass(frozen=True, kw_only=True)
class LeftPoint:
    """A point that is there no more: `at` is its instant, `seen` its last list, `gone` the first list without it.

    `oldest`: no older point stayed when it went. `size` is bytes (None: not shown).
    """

    name: str
    at: datetime
    seen: datetime
    gone: datetime
    oldest: bool
    size: int | None = None


@dataclass(frozen=True, kw_only=True)
class PointsPast:
    """A copy's past: `since` is its first list, `oldest` the oldest point ever seen (None: none ever was).

    `left` are those that left, by their instants; `listed` when it was listed, the last times, in order. `rewritten`
    are the identities of points that are there and were changed after an earlier list had them: once is for good.
    """

    since: datetime
    oldest: datetime | None
    left: tuple[LeftPoint, ...] = ()
    listed: tuple[datetime, ...] = ()
    rewritten: tuple[str, ...] = ()


def begun_with(first: PointList) -> PointsPast:
    """Return the past of a copy whose points were never listed before."""
    return PointsPast(since=first.at, oldest=_oldest(first), listed=(first.at,))


def brought_up_to(past: PointsPast, before: PointList, now: PointList) -> PointsPast:
    """Return the past with one list more; `before` is the last list that it knows. The same list again adds nothing."""
    if now.at <= before.at:
        return past
    there = _there(now)
    stayed = [one for one in past.left if one.name not in there]
    left = sorted((*stayed, *_left(before, now)), key=lambda one: (one.gone, one.at))[-LEFT_KEPT:]
    known = [instant for instant in (past.oldest, _oldest(now)) if instant is not None]
    return replace(
        past,
        oldest=min(known, default=None),
        left=tuple(sorted(left, key=lambda one: one.at)),
        listed=(*past.listed, now.at)[-LISTS_KEPT:],
        rewritten=tuple(sorted(_rewritten(past, before, now))),
    )


def _rewritten(past: PointsPast, before: PointList, now: PointList) -> Iterator[str]:
    """Yield what is there still and is known to have been changed: its filesystem counts a later change than before."""
    known = {point.identity: point.generation for point in before.points if point.generation is not None}
    for point in now.points:
        if point.identity is None:
            continue
        then = known.get(point.identity)
        later = then is not None and point.generation is not None and point.generation > then
        if later or point.identity in past.rewritten:
            yield point.identity


def _left(before: PointList, now: PointList) -> Iterator[LeftPoint]:
    there, remaining = _there(now), _oldest(now)
    for point in before.points:
        if point.name not in there:
            yield _one(point, before, now, remaining)


def _there(points: PointList) -> set[str]:
    return {point.name for point in (*points.points, *points.thin)}


def _one(point: RecoveryPoint, before: PointList, now: PointList, remaining: datetime | None) -> LeftPoint:
    return LeftPoint(
        name=point.name,
        at=point.earliest,
        seen=before.at,
        gone=now.at,
        oldest=remaining is not None and point.earliest < remaining,
        size=point.size,
    )


def _oldest(points: PointList) -> datetime | None:
    return min((point.earliest for point in points.points), default=None)

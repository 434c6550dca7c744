"""Whether kept points cover a span: from any moment of it, a state not further back than `max_age`."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from itertools import pairwise

from coverage_audit.judgement.dated import Dated
from coverage_audit.judgement.kept_slots import Why, went


@dataclass(frozen=True, kw_only=True)
class Hole:
    """Where a span is not covered: between two points, from its beginning (`after` None), or to now (`before` None).

    `complete`: when a span that is not there yet would be.
    """

    why: Why
    before: datetime | None
    after: datetime | None = None
    complete: datetime | None = None


def holes(span: timedelta, copies: Sequence[Dated], *, now: datetime, max_age: timedelta) -> tuple[Hole, ...]:
    """Return what is lacking of the `span` before `now`, the oldest first; `copies` all together cover it."""
    begins = now - span
    points = sorted(point.earliest for one in copies for point in one.points)
    newest = max((point for one in copies for point in one.points), key=lambda point: point.earliest, default=None)
    end = now if newest is None else now - (newest.latest - newest.earliest)
    doubts = any(one.doubted or one.at is None for one in copies)
    gone = [at for one in copies for at in went(one)]
    found = [] if points and points[0] <= begins + max_age else [_beginning(points, gone, begins, span, copies)]
    for earlier, later in pairwise((*points, end)):
        if later > begins and later - max(earlier, begins) > max_age:
            why = Why.WENT if any(earlier < at < later for at in gone) else Why.NONE
            found.append(Hole(why=why, after=earlier, before=None if later == end else later))
    if doubts:
        return tuple(Hole(why=Why.UNKNOWN, before=hole.before, after=hole.after) for hole in found)
    return tuple(found)


def _beginning(
    points: Sequence[datetime], gone: Sequence[datetime], begins: datetime, span: timedelta, copies: Sequence[Dated]
) -> Hole:
    oldest = points[0] if points else None
    if any(oldest is None or at < oldest for at in gone):
        return Hole(why=Why.WENT, before=oldest)
    if oldest is None or any(one.past is not None and one.past.since <= begins for one in copies):
        return Hole(why=Why.NONE, before=oldest)
    return Hole(why=Why.NOT_YET, before=oldest, complete=oldest + span)

"""Which calendar slots of a dataset's kept points are held, by what its dated copies show and what is remembered."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime
from enum import Enum
from zoneinfo import ZoneInfo

from coverage_audit.estate.criteria import Keep
from coverage_audit.evidence.facts import PointList
from coverage_audit.judgement.dated import Dated
from coverage_audit.reckoning.slots import Slot, Span, empty_slots, last_whole, slot_of, whole_from


class Why(Enum):
    """Why no point of a slot is shown."""

    WENT = "was there and went"
    NONE = "never came"
    NOT_YET = "lies before the copies' history"
    UNKNOWN = "is not known"


@dataclass(frozen=True, kw_only=True)
class Empty:
    """A slot asked for in which no point is shown."""

    slot: Slot
    why: Why


@dataclass(frozen=True, kw_only=True)
class Held:
    """How the slots of one span stand; `complete` is the day by which those not there yet can all be there."""

    span: Span
    asked: int
    empty: tuple[Empty, ...]
    complete: date | None = None


def slots_asked(keep: Keep) -> tuple[tuple[Span, int], ...]:
    """Return how many slots of each span are asked for."""
    asked = ((Span.DAY, keep.daily), (Span.WEEK, keep.weekly), (Span.MONTH, keep.monthly), (Span.YEAR, keep.yearly))
    return tuple((span, count) for span, count in asked if count)


def held(
    keep: Keep, copies: Sequence[Dated], *, today: date, zone: ZoneInfo, quiet: frozenset[int] = frozenset()
) -> tuple[Held, ...]:
    """Return how the slots asked for on `today` stand, by all copies together; quiet weekdays are not asked for.

    The slot that is not over is one of them once it has its point: a pruning that keeps seven daily states keeps
    tonight's and six before it. Until then the last whole ones are asked for.
    """
    return tuple(_of_span(span, count, copies, today, zone, quiet) for span, count in slots_asked(keep))


def _of_span(
    span: Span, count: int, copies: Sequence[Dated], today: date, zone: ZoneInfo, quiet: frozenset[int]
) -> Held:
    sure = [point.earliest for one in copies for point in one.points]
    doubted = [point.earliest for one in copies for point in one.doubted]
    slots = [slot for slot in _asked(span, count, today, sure, zone) if not _is_quiet(slot, quiet)]
    lacking = empty_slots(slots, sure, zone)
    never = set(empty_slots(lacking, doubted, zone))
    empty = tuple(Empty(slot=slot, why=_why(slot, copies, zone) if slot in never else Why.UNKNOWN) for slot in lacking)
    begun = _begun(copies, zone)
    waiting = any(one.why is Why.NOT_YET for one in empty)
    complete = whole_from(slot_of(begun, span), count) if waiting and begun is not None else None
    return Held(span=span, asked=len(slots), empty=empty, complete=complete)


def _asked(span: Span, count: int, today: date, points: Sequence[datetime], zone: ZoneInfo) -> tuple[Slot, ...]:
    current = slot_of(today, span)
    if empty_slots([current], points, zone):
        return last_whole(span, count, today)
    return (current, *last_whole(span, count - 1, today))


def _is_quiet(slot: Slot, quiet: frozenset[int]) -> bool:
    return slot.span is Span.DAY and slot.first.weekday() in quiet


def _why(slot: Slot, copies: Sequence[Dated], zone: ZoneInfo) -> Why:
    if any(one.at is None or _day(one.at, zone) < slot.after for one in copies):
        return Why.UNKNOWN
    if not empty_slots([slot], [at for one in copies for at in went(one)], zone):
        return Why.WENT
    pasts = [one.past for one in copies if one.past is not None]
    begun = any(past.oldest is not None and _day(past.oldest, zone) < slot.after for past in pasts)
    return Why.NONE if begun or any(_day(past.since, zone) < slot.first for past in pasts) else Why.NOT_YET


def went(one: Dated) -> list[datetime]:
    """Return the instants of the points of a copy that were there and went, the oldest ever seen among them."""
    found = [point.at for point in one.left if point.size != 0]
    seen = one.copy.evidence.points
    oldest = one.past.oldest if one.past is not None else None
    if oldest is not None and isinstance(seen, PointList) and all(point.earliest > oldest for point in seen.points):
        found.append(oldest)
    return found


def _begun(copies: Sequence[Dated], zone: ZoneInfo) -> date | None:
    pasts = [one.past for one in copies if one.past is not None]
    return min((_day(past.oldest or past.since, zone) for past in pasts), default=None)


def _day(at: datetime, zone: ZoneInfo) -> date:
    return at.astimezone(zone).date()

"""Calendar slots for kept points: the days, weeks, months and years that are to hold one each, and which do not.

A slot is a span of local dates. Those asked for are the last whole ones: the slot that `today` lies in is not over, and
what is to fill it may be still to come. Weeks begin on Monday (ISO 8601).
"""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from enum import StrEnum
from zoneinfo import ZoneInfo

_DAY = timedelta(days=1)


class Span(StrEnum):
    """How long a slot is."""

    DAY = "day"
    WEEK = "week"
    MONTH = "month"
    YEAR = "year"


@dataclass(frozen=True, kw_only=True)
class Slot:
    """A span of local dates, from `first` to before `after`."""

    span: Span
    first: date
    after: date

    def __str__(self) -> str:
        """Say it as ISO 8601 does: 2026-11-27, 2026-W48, 2026-11, 2026."""
        if self.span is Span.WEEK:
            return "{}-W{:02}".format(*self.first.isocalendar())
        return self.first.isoformat()[: {Span.DAY: 10, Span.MONTH: 7, Span.YEAR: 4}[self.span]]


def slot_of(day: date, span: Span) -> Slot:
    """Return the slot that a local date lies in."""
    if span is Span.DAY:
        return Slot(span=span, first=day, after=day + _DAY)
    if span is Span.WEEK:
        first = day - _DAY * day.weekday()
        return Slot(span=span, first=first, after=first + 7 * _DAY)
    if span is Span.MONTH:
        first = day.replace(day=1)
        return Slot(span=span, first=first, after=(first + 31 * _DAY).replace(day=1))
    return Slot(span=span, first=date(day.year, 1, 1), after=date(day.year + 1, 1, 1))


def last_whole(span: Span, count: int, today: date) -> tuple[Slot, ...]:
    """Return the last `count` slots that are over on `today`, the newest first."""
    slots: list[Slot] = []
    slot = slot_of(today, span)
    for _ in range(count):
        slot = slot_of(slot.first - _DAY, span)
        slots.append(slot)
    return tuple(slots)


def whole_from(first: Slot, count: int) -> date:
    """Return the day on which `count` slots are over, counted from `first`."""
    slot = first
    for _ in range(count - 1):
        slot = slot_of(slot.after, slot.span)
    return slot.after


def empty_slots(slots: Iterable[Slot], points: Sequence[datetime], zone: ZoneInfo) -> tuple[Slot, ...]:
    """Return the slots in which none of the points (aware instants) lies by the zone's calendar, in their order."""
    days = sorted({point.astimezone(zone).date() for point in points})
    return tuple(slot for slot in slots if bisect_left(days, slot.first) == bisect_left(days, slot.after))

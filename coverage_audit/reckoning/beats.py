"""The rhythm of recovery points: when the next is due, which beats came without one, and what rhythm a series shows.

Beats of whole days and of months are counted by local clocks, so that a clock change moves none of them; shorter ones
are counted in absolute time. A beat that would fall on a quiet weekday falls on the next day that is none.
"""

from __future__ import annotations

from calendar import monthrange
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from itertools import pairwise
from statistics import median
from typing import Final
from zoneinfo import ZoneInfo

LEAST: Final = 8
"""Of fewer intervals no rhythm is told (the project's own choice)."""
_LOOKED_AT: Final = 15
_DAY: Final = timedelta(days=1)
_NEAR_A_DAY: Final = 0.1
_WEEKDAYS_SEEN: Final = timedelta(days=20)
_MONTH: Final = timedelta(days=30)
_NEVER: Final = datetime.max.replace(tzinfo=UTC)


@dataclass(frozen=True, kw_only=True)
class Beats:
    """A rhythm: `every` so long, or each month on the same day (`monthly`); late beyond `tolerance`.

    No beat falls on a local weekday in `quiet` (0 is Monday; not all seven).
    """

    every: timedelta
    zone: ZoneInfo
    tolerance: timedelta
    quiet: frozenset[int] = frozenset()
    monthly: bool = False

    @property
    def by_days(self) -> bool:
        """Whether it is counted by the calendar."""
        return self.monthly or self.every % _DAY == timedelta(0)

    def next_after(self, beat: datetime) -> datetime:
        """Return the beat after this one, in UTC."""
        local = beat.astimezone(self.zone).replace(tzinfo=None)
        if not self.by_days:
            return self._short(beat)
        try:
            wall = _month_later(local) if self.monthly else local + self.every
            while wall.weekday() in self.quiet:
                wall += _DAY
            return wall.replace(tzinfo=self.zone).astimezone(UTC)
        except (OverflowError, ValueError):
            return _NEVER

    def _short(self, beat: datetime) -> datetime:
        due = (beat + self.every).astimezone(UTC)
        day = due.astimezone(self.zone).date()
        if day.weekday() not in self.quiet:
            return due
        while day.weekday() in self.quiet:
            day += _DAY
        return datetime.combine(day, time(), self.zone).astimezone(UTC) + self.every


def beats(
    every: timedelta, zone: ZoneInfo, *, monthly: bool, quiet: frozenset[int], tolerance: timedelta | None
) -> Beats:
    """Return a declared rhythm; it may be late by a quarter of its interval unless said otherwise."""
    every = _MONTH if monthly else every
    late = every / 4 if tolerance is None else tolerance
    return Beats(every=every, zone=zone, tolerance=late, quiet=quiet, monthly=monthly)


def missed(points: Sequence[datetime], rhythm: Beats, *, since: datetime, now: datetime) -> Iterator[datetime]:
    """Give each beat from `since` on that was due and came to nothing, in order; `points` are in order.

    After a point the next beat is due; where the next point comes later than that and the tolerance, it was missed, and
    the one after it is due from where it was due itself. What is due to `now` and not yet late is not missed.
    """
    for point, end in zip(points, (*points[1:], now), strict=True):
        due = rhythm.next_after(_near(point, since, rhythm))
        while due + rhythm.tolerance < end:
            if due >= since:
                yield due
            due = rhythm.next_after(due)


def bunched(points: Sequence[datetime], rhythm: Beats, since: datetime) -> int:
    """Return how many points since then came within half an interval after another."""
    return sum(later - earlier < rhythm.every / 2 for earlier, later in pairwise(points) if later >= since)


def learned(points: Sequence[datetime], zone: ZoneInfo, tolerance: timedelta | None = None) -> Beats | None:
    """Return the rhythm that a series shows: the median of its last intervals (None: there are too few).

    What is within a tenth of whole days is counted in days. Of a daily series of three weeks those weekdays are quiet
    on which no point ever came.
    """
    last = points[-_LOOKED_AT - 1 :]
    intervals = [later - earlier for earlier, later in pairwise(last)]
    if len(intervals) < LEAST:
        return None
    every = timedelta(seconds=median(interval.total_seconds() for interval in intervals))
    days = round(every / _DAY)
    if days and abs(every - days * _DAY) <= _NEAR_A_DAY * days * _DAY:
        every = days * _DAY
    quiet = _quiet(points, zone) if every == _DAY else frozenset[int]()
    return beats(max(every, timedelta(minutes=1)), zone, monthly=False, quiet=quiet, tolerance=tolerance)


def _quiet(points: Sequence[datetime], zone: ZoneInfo) -> frozenset[int]:
    recent = [point for point in points if points[-1] - point <= timedelta(days=28)]
    if recent[-1] - recent[0] < _WEEKDAYS_SEEN:
        return frozenset()
    return frozenset(range(7)) - {point.astimezone(zone).weekday() for point in recent}


def _near(point: datetime, since: datetime, rhythm: Beats) -> datetime:
    """Return a beat of the same series not long before `since`, so that a long gap is not walked through."""
    if rhythm.by_days or rhythm.quiet or point >= since:
        return point
    return point + (since - point) // rhythm.every * rhythm.every


def _month_later(local: datetime) -> datetime:
    year, month = (local.year + 1, 1) if local.month == 12 else (local.year, local.month + 1)
    first = date(year, month, 1)
    return local.replace(year=first.year, month=first.month, day=min(local.day, monthrange(year, month)[1]))

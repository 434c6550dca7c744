"""What is due, as a pure function of the present, of what was done, and of the zone.

The scheduler only ticks; whether anything is to be done is decided here. A night is the local date on which its audit
is to begin. A night is audited once, however often clocks go back; nights that passed while the machine slept or was
off are caught up by one audit, which says how many they were.
"""

from __future__ import annotations

from collections.abc import Set as AbstractSet
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from typing import Final
from zoneinfo import ZoneInfo

_DAY: Final = timedelta(days=1)
_WEEK: Final = 7


@dataclass(frozen=True, kw_only=True)
class Night:
    """The audit of the night `of` is due. `missed` nights before it had none; the first of them is `missed_since`."""

    of: date
    missed: int = 0
    missed_since: date | None = None


def audit_due(now: datetime, done: AbstractSet[date], at: time, zone: ZoneInfo) -> Night | None:
    """Return the night whose audit is due at `now` (aware), None where there is none.

    `done` are the nights that had their audit; without any the first is due at once. Nights of a future that never
    came (a clock that was ahead and was set back) are passed over.
    """
    latest = _latest(now, at, zone)
    return None if latest in done else night_after(latest, done)


def night_after(of: date, done: AbstractSet[date]) -> Night:
    """Return the night `of` with those that were missed between it and the last before it that is `done`."""
    before = max((night for night in done if night < of), default=None)
    if before is None or of - before == _DAY:
        return Night(of=of)
    return Night(of=of, missed=(of - before).days - 1, missed_since=before + _DAY)


def summary_due(
    now: datetime, done: AbstractSet[date], on: tuple[str, time], zone: ZoneInfo, *, since: datetime
) -> date | None:
    """Return the local date of the weekly page that is due at `now`, None where there is none.

    `on` is the weekday ("Mon") and the time; pages that would have been due before `since`, when the daemon was first
    started, never are. Of several that were missed the newest is made: it tells of all that time.
    """
    weekday, at = on
    latest = _latest(now, at, zone)
    latest -= timedelta(days=(latest.weekday() - _WEEKDAYS.index(weekday)) % _WEEK)
    return None if latest in done or instant_of(latest, at, zone) < since else latest


def next_audit(now: datetime, at: time, zone: ZoneInfo) -> datetime:
    """Return the instant (UTC) at which the next night's audit begins."""
    return instant_of(_latest(now, at, zone) + _DAY, at, zone)


def next_summary(now: datetime, on: tuple[str, time], zone: ZoneInfo) -> datetime:
    """Return the instant (UTC) at which the next weekly page is made."""
    weekday, at = on
    day = _latest(now, at, zone) + _DAY
    day += timedelta(days=(_WEEKDAYS.index(weekday) - day.weekday()) % _WEEK)
    return instant_of(day, at, zone)


def instant_of(day: date, at: time, zone: ZoneInfo) -> datetime:
    """Return the first instant (UTC) at which clocks in `zone` show `at` on `day`, or have passed over it.

    Where the hour is repeated the first is meant (PEP 495, fold=0). Where it is left out the same fold gives the time
    by the offset from before the change: the moment that is as far behind the gap's begin as `at` is.
    """
    return datetime.combine(day, at, zone).astimezone(UTC)


def _latest(now: datetime, at: time, zone: ZoneInfo) -> date:
    """Return the latest local date whose time `at` has come."""
    today = now.astimezone(zone).date()
    # A zone may leave out a whole date (a move across the date line): then its instant is that of the day after.
    while instant_of(today, at, zone) > now:
        today -= _DAY
    return today


_WEEKDAYS: Final = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")

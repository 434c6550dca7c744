"""Quiet hours: local times of day in which nothing is sent."""

from __future__ import annotations

from datetime import UTC, datetime, time, timedelta
from typing import Final
from zoneinfo import ZoneInfo

_MINUTE: Final = timedelta(minutes=1)
_LONGEST_MINUTES: Final = 3 * 24 * 60


def is_quiet(now: datetime, hours: tuple[time, time], zone: ZoneInfo) -> bool:
    """Whether clocks in `zone` show a time from `hours[0]` up to, not including, `hours[1]`; it may span midnight."""
    begin, end = hours
    shown = now.astimezone(zone).time()
    return begin <= shown < end if begin < end else shown >= begin or shown < end


def quiet_until(now: datetime, hours: tuple[time, time] | None, zone: ZoneInfo) -> datetime | None:
    """Return the first whole minute (UTC) after `now` that is not quiet, None where it is not quiet now.

    Minute by minute, because that is right on the night of a clock change too, whichever hour is left out or repeated.
    """
    if hours is None or not is_quiet(now, hours, zone):
        return None
    moment = now.astimezone(UTC).replace(second=0, microsecond=0)
    for _ in range(_LONGEST_MINUTES):
        moment += _MINUTE
        if not is_quiet(moment, hours, zone):
            break
    return moment

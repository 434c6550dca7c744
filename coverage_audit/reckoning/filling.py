"""When a volume will be full, from what it held day by day: a trend and its interval, never from one large move."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime, timedelta
from typing import Final

from coverage_audit.reckoning.lone_move import lone_move
from coverage_audit.reckoning.quickening import LATELY, is_new
from coverage_audit.reckoning.trend import moves_of, trend

_DAY_S: Final = 86_400.0
_FARTHEST: Final = timedelta(days=36_525)
"""Beyond a hundred years a date says nothing more than "not foreseeable"."""


@dataclass(frozen=True, kw_only=True)
class Reading:
    """How much of something was in use at an instant, in its own unit (bytes, inodes)."""

    at: datetime
    used: int


@dataclass(frozen=True, kw_only=True)
class Filling:
    """When a limit is reached at the present pace: most likely, and the interval's ends (None: not foreseeable).

    `pace` is the growth a day. `moves` are the instants at which something was moved in or out at once; what those
    brought is room in use, but no growth.
    """

    pace: float
    pace_low: float
    pace_high: float
    reached: datetime | None
    earliest: datetime | None
    latest: datetime | None
    moves: tuple[datetime, ...] = ()


def filling(readings: Sequence[Reading], limit: int, confidence: float = 0.95) -> Filling | None:
    """Return when `limit` (in the readings' unit) is reached; None where there are too few days to tell.

    Of several readings of one day (UTC) the last counts. Where it grows faster lately than all days show, and than it
    ever did, that is its pace.
    """
    daily = _daily(readings)
    whole = _filling(daily, limit, confidence)
    if whole is None:
        return None
    return max((whole, *_quickened(daily, limit, confidence, whole)), key=lambda each: each.pace)


def _quickened(daily: Sequence[Reading], limit: int, confidence: float, whole: Filling) -> Iterator[Filling]:
    values, xs = [float(each.used) for each in daily], _days(daily)
    for days in LATELY:
        if len(daily) <= days:
            continue
        lately = _filling(daily[-days:], limit, confidence, known=whole.moves)
        if lately is None or lately.pace_low <= max(whole.pace_high, 0.0):
            continue
        if is_new(values, xs, days, lately.pace):
            yield replace(lately, moves=whole.moves)


def _days(daily: Sequence[Reading]) -> list[float]:
    return [reading.at.timestamp() / _DAY_S for reading in daily]


def _filling(daily: Sequence[Reading], limit: int, confidence: float, known: Sequence[datetime] = ()) -> Filling | None:
    values = [float(reading.used) for reading in daily]
    moves = moves_of(values)
    lone = lone_move(values, moves)
    before = {at for at, reading in enumerate(daily) if at and reading.at in known}
    found = trend(_days(daily), values, confidence, sorted({*moves, *lone, *before}))
    if found is None:
        return None
    last = daily[-1]
    return Filling(
        pace=found.slope,
        pace_low=found.low,
        pace_high=found.high,
        reached=_reached(last.at, limit - found.level, found.slope),
        earliest=_reached(last.at, limit - found.level - found.level_off, found.high),
        latest=_reached(last.at, limit - found.level + found.level_off, found.low),
        moves=tuple(daily[at].at for at in sorted({*moves, *lone[:1]})),
    )


def _daily(readings: Sequence[Reading]) -> list[Reading]:
    last: dict[date, Reading] = {}
    for reading in sorted(readings, key=lambda each: each.at):
        last[reading.at.astimezone(UTC).date()] = reading
    return list(last.values())


def _reached(at: datetime, room: float, pace: float) -> datetime | None:
    if room <= 0:
        return at
    if pace <= 0 or room / pace > _FARTHEST / timedelta(days=1):
        return None
    return at + timedelta(days=room / pace)

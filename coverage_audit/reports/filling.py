"""When volumes are full, for the pages: the date with its interval, where the history is long enough to tell."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Final

from coverage_audit.estate.model import Estate, VolumeKey
from coverage_audit.judgement.forecast import RoomForecast
from coverage_audit.judgement.forecast_words import between, dates, known, pace, room, soonest
from coverage_audit.judgement.verdict import JudgedEstate

AHEAD: Final = timedelta(days=365)
"""So far ahead the date on which a volume is full is named among what is due."""


@dataclass(frozen=True, kw_only=True)
class Full:
    """A volume that is full on a date that is shown, the likeliest, with the sentence that says so."""

    volume: VolumeKey
    at: datetime
    why: str


def filling_said(judged: JudgedEstate, estate: Estate) -> Mapping[VolumeKey, str]:
    """Say of each volume when it is full at its present pace; those of which it cannot be told are left out."""
    return {forecast.volume: said for forecast in judged.rooms if (said := _said(forecast, estate))}


def full_next(judged: JudgedEstate, estate: Estate, now: datetime) -> Iterator[Full]:
    """Name each declared volume of which growth is shown and that is likely full within `AHEAD`."""
    declared = {volume.key for device in estate.devices for volume in device.volumes}
    for forecast in judged.rooms:
        first = soonest(known(forecast))
        if forecast.volume not in declared or first is None:
            continue
        what, found = first
        if found.reached is not None and found.pace_low > 0 and found.reached <= now + AHEAD:
            told = (between(found, estate.time_zone), pace(what, found), room(forecast))
            yield Full(volume=forecast.volume, at=found.reached, why=", ".join(filter(None, told)))


def _said(forecast: RoomForecast, estate: Estate) -> str:
    first = soonest(known(forecast))
    if first is None:
        return ""
    what, found = first
    if found.reached is None and found.earliest is None:
        return "not filling"
    return f"{'inodes used up' if what == 'inodes' else 'full'} {dates(found, estate.time_zone)}"

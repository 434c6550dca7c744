"""When each volume will be full: what this audit and earlier ones saw of its room, and where that leads."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from itertools import chain

from coverage_audit.estate.model import VolumeKey
from coverage_audit.evidence.facts import IdentityCheck, VolumeFacts
from coverage_audit.evidence.room import RoomDay, RoomHistory
from coverage_audit.judgement.case import DatasetCase, PlaceEvidence
from coverage_audit.reckoning.filling import Filling, filling
from coverage_audit.reckoning.room import Shown, readings_of


@dataclass(frozen=True, kw_only=True)
class RoomForecast:
    """A volume's room as it was seen last, and when it is used up at the present pace.

    `known_since` is when the volume was seen first (None: its history was not looked up), `days` on how many days its
    room was seen since then. `bytes` and `inodes`: None where there are too few days to tell, or nothing is shown.
    `inodes` is also None where the filesystem makes them as it needs them.
    """

    volume: VolumeKey
    last: RoomDay
    known_since: datetime | None
    days: int
    bytes: Filling | None
    inodes: Filling | None


def forecasts_of(cases: Sequence[DatasetCase], now: datetime) -> Mapping[VolumeKey, RoomForecast]:
    """Look ahead for each volume of which anything was ever seen, in the order of the cases.

    What bears a time to come (the auditor's clock was set back since) is no evidence.
    """
    histories = {history.volume: history for case in cases for history in case.rooms}
    seen: dict[VolumeKey, list[RoomDay]] = {}
    for place in chain.from_iterable(case.places for case in cases):
        seen.setdefault(place.volume.key, []).extend(shown_room(place))
    for history in histories.values():
        seen.setdefault(history.volume, []).extend(history.days)
    found: dict[VolumeKey, RoomForecast] = {}
    for volume, shown in seen.items():
        forecast = _forecast(volume, histories.get(volume), [day for day in shown if day.at <= now])
        if forecast is not None:
            found[volume] = forecast
    return found


def shown_room(place: PlaceEvidence) -> Iterable[RoomDay]:
    """Return what a place shows of its volume's room, if it is the volume that is pinned."""
    facts, check = place.volume_facts, place.identity
    if isinstance(facts, VolumeFacts) and isinstance(check, IdentityCheck) and check.trusted:
        yield RoomDay(
            at=facts.at,
            capacity=facts.capacity,
            free=facts.free,
            inodes=facts.inodes,
            inodes_free=facts.inodes_free,
        )


def _forecast(volume: VolumeKey, history: RoomHistory | None, shown: Sequence[RoomDay]) -> RoomForecast | None:
    days = sorted(shown, key=lambda day: (day.at, -(day.free or 0)))
    if not days:
        return None
    told = [day for day in days if day.capacity and day.free is not None]
    return RoomForecast(
        volume=volume,
        last=days[-1],
        known_since=None if history is None else history.first or days[0].at,
        days=len({day.at.astimezone(UTC).date() for day in told}),
        bytes=_bytes(told),
        inodes=_inodes(told),
    )


def _bytes(days: Iterable[RoomDay]) -> Filling | None:
    return filling(*readings_of(Shown(at=day.at, size=day.capacity or 0, free=day.free or 0) for day in days))


def _inodes(days: Sequence[RoomDay]) -> Filling | None:
    told = [day for day in days if day.inodes and day.inodes_free is not None]
    if len({day.inodes for day in told}) > len({day.capacity for day in told}):
        return None  # made as they are needed: what limits them is the room itself
    return filling(*readings_of(Shown(at=day.at, size=day.inodes or 0, free=day.inodes_free or 0) for day in told))

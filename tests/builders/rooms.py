"""Histories of room for the judgement: one reading a night until the night before the audit."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from datetime import timedelta
from typing import Any

from coverage_audit.estate.model import VolumeKey
from coverage_audit.evidence.facts import VolumeFacts
from coverage_audit.evidence.room import RoomDay, RoomHistory
from coverage_audit.judgement.case import DatasetCase, PlaceEvidence
from tests.builders.station import SEEN

DAY = timedelta(days=1)
GB = 10**9
CAPACITY = 1000 * GB
PLENTY = 900 * GB


def steady(_ago: int) -> int:
    """As much is free as ever."""
    return PLENTY


def shrinking(by: int, now: int = PLENTY) -> Callable[[int], int]:
    """So many bytes less are free each night; `now` are free tonight."""
    return lambda ago: now + by * ago


def a_history(volume: VolumeKey, free: Callable[[int], int] = steady, *, nights: int = 90, **more: Any) -> RoomHistory:
    """What the nights before this one saw; `free` gives the bytes free so many nights ago."""
    days = tuple(
        RoomDay(at=SEEN - ago * DAY, capacity=CAPACITY, free=free(ago), **more) for ago in range(nights, 0, -1)
    )
    return RoomHistory(volume=volume, first=days[0].at if days else None, days=days)


def with_room(place: PlaceEvidence, free: int = PLENTY, **more: Any) -> PlaceEvidence:
    """A place that shows its room tonight."""
    facts = place.volume_facts
    assert isinstance(facts, VolumeFacts)
    return replace(place, volume_facts=replace(facts, capacity=CAPACITY, free=free, **more))


def roomy(case: DatasetCase, nights: int = 90) -> DatasetCase:
    """A case whose volumes all have as much room as ever."""
    places = [case.original.place, *(copy.place for copy in case.copies)]
    return replace(
        case,
        original=replace(case.original, place=with_room(case.original.place)),
        copies=tuple(replace(copy, place=with_room(copy.place)) for copy in case.copies),
        rooms=tuple(a_history(key, nights=nights) for key in dict.fromkeys(place.volume.key for place in places)),
    )

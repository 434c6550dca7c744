"""The room of a volume, day by day, as audits saw it."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from coverage_audit.estate.model import VolumeKey


@dataclass(frozen=True, kw_only=True)
class RoomDay:
    """What a volume showed of its room at an instant: bytes and inodes (None: not shown)."""

    at: datetime
    capacity: int | None
    free: int | None
    inodes: int | None = None
    inodes_free: int | None = None


@dataclass(frozen=True, kw_only=True)
class RoomHistory:
    """What earlier audits saw of a volume's room, in the order of time, one reading a day.

    `first` is when it was seen for the first time as the volume that it is now (None: never before this audit).
    """

    volume: VolumeKey
    first: datetime | None
    days: tuple[RoomDay, ...] = ()

"""The past of the room of all volumes on which the audited datasets lie."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from datetime import datetime, timedelta
from typing import Final

from coverage_audit.estate.former import lineage_of
from coverage_audit.estate.model import Dataset, Estate, VolumeKey
from coverage_audit.evidence.room import RoomHistory
from coverage_audit.ledger.ledger import Ledger

Rooms = Mapping[VolumeKey, RoomHistory]

LOOKED_BACK: Final = timedelta(days=400)
"""So far back the pace of a volume is measured: a year, whatever its seasons, and a month."""


def rooms_of(estate: Estate, datasets: Iterable[Dataset], started: datetime, ledger: Ledger) -> Rooms:
    """Return what earlier audits saw of each volume's room. Raises LedgerError."""
    volumes = dict.fromkeys(volume for dataset in datasets for volume in volumes_of(dataset))
    histories = ledger.past.rooms(volumes, started - LOOKED_BACK, lineage_of(estate))
    return {history.volume: history for history in histories}


def volumes_of(dataset: Dataset) -> tuple[VolumeKey, ...]:
    """Return the volumes on which a dataset lies, the original's first."""
    return tuple(dict.fromkeys(place.volume for place in dataset.places))

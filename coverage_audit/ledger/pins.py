"""Pinned identities: set when a volume is first seen, changed only when a person accepts it, never forgotten."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime

from sqlalchemy import Connection, insert, select, update

from coverage_audit.estate.model import DeviceId, VolumeKey
from coverage_audit.evidence.facts import PinnedFact
from coverage_audit.ledger.mapping import load_pins, store_pins
from coverage_audit.ledger.tables import PINS


def pinned(connection: Connection, volume: VolumeKey, formerly: Sequence[DeviceId]) -> tuple[PinnedFact, ...] | None:
    """Return what is pinned of a volume, under its device's own id or else the latest former one (None: nothing)."""
    for device in (volume.device, *formerly):
        facts = connection.execute(
            select(PINS.c.facts)
            .where(PINS.c.device == device, PINS.c.volume == volume.volume, PINS.c.replaced.is_(None))
            .order_by(PINS.c.id.desc())
        ).scalar()
        if facts is not None:
            return load_pins(facts)
    return None


def pin_first(connection: Connection, volume: VolumeKey, facts: tuple[PinnedFact, ...], at: datetime) -> None:
    """Pin a volume that has no pins yet; what is pinned already stays as it is."""
    if pinned(connection, volume, ()) is None:
        _pin(connection, volume, facts, at, "first seen")


def replace_pins(
    connection: Connection, volume: VolumeKey, facts: tuple[PinnedFact, ...], at: datetime, who: str
) -> None:
    """Pin a volume anew on somebody's word; the old pins are kept, marked as replaced."""
    connection.execute(
        update(PINS)
        .where(PINS.c.device == volume.device, PINS.c.volume == volume.volume, PINS.c.replaced.is_(None))
        .values(replaced=at)
    )
    _pin(connection, volume, facts, at, who)


def _pin(connection: Connection, volume: VolumeKey, facts: tuple[PinnedFact, ...], at: datetime, who: str) -> None:
    connection.execute(
        insert(PINS).values(device=volume.device, volume=volume.volume, facts=store_pins(facts), pinned=at, who=who)
    )

"""Pinned identities: set when a volume is first seen, changed only when a person accepts it, never forgotten."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime

from sqlalchemy import Connection, func, insert, select, update

from coverage_audit.estate.former import Lineage
from coverage_audit.estate.model import DeviceId, VolumeKey
from coverage_audit.evidence.facts import PinnedFact
from coverage_audit.ledger.mapping import load_pins, store_pins
from coverage_audit.ledger.tables import PINS

FIRST_SEEN = "first seen"
IN_ADDITION = "shown in addition"
"""Who pinned, where it was no person."""


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


def pin_seen(connection: Connection, volume: VolumeKey, facts: tuple[PinnedFact, ...], at: datetime) -> None:
    """Pin a volume that has no pins yet, or add what it shows in addition; what is pinned never changes by itself."""
    known = pinned(connection, volume, ())
    if known is None:
        _pin(connection, volume, facts, at, FIRST_SEEN)
    elif set(facts) > set(known):
        replace_pins(connection, volume, facts, at, IN_ADDITION)


def shown(facts: Sequence[PinnedFact]) -> tuple[tuple[str, str], ...]:
    """Return pinned facts as plain words: name and value."""
    return tuple((fact.name.replace("_", " "), fact.value) for fact in facts)


def carry_pins(connection: Connection, lineage: Lineage) -> None:
    """Pin under a device's present name what is pinned under a former one: the declaration of it may be dropped later.

    The former name keeps its pins: if it is ever declared again, no other hardware passes under it unasked.
    """
    for present, *former in lineage.devices:
        for name in former:
            own = select(PINS.c.volume).where(PINS.c.device == present)
            rows = connection.execute(
                select(PINS).where(PINS.c.device == name, PINS.c.volume.not_in(own)).order_by(PINS.c.id)
            ).all()
            for row in rows:
                kept = {"volume": row.volume, "facts": row.facts, "pinned": row.pinned, "replaced": row.replaced}
                connection.execute(insert(PINS).values(device=present, who=row.who, **kept))


def accepted_at(connection: Connection, volume: VolumeKey, formerly: Sequence[DeviceId]) -> datetime | None:
    """Return when a person last accepted what a volume shows (None: nobody ever had to)."""
    accepted: datetime | None = connection.execute(
        select(func.max(PINS.c.pinned)).where(
            PINS.c.device.in_([volume.device, *formerly]),
            PINS.c.volume == volume.volume,
            PINS.c.who.not_in([FIRST_SEEN, IN_ADDITION]),
        )
    ).scalar()
    return accepted


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

"""The room of volumes over the past, each as far back as it is the volume that it is now."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from datetime import UTC, date, datetime
from typing import Any

from sqlalchemy import ColumnElement, Connection, Table, func, select

from coverage_audit.estate.former import Lineage
from coverage_audit.estate.model import DeviceId, VolumeKey
from coverage_audit.evidence.room import RoomDay, RoomHistory
from coverage_audit.ledger.pins import accepted_at, pinned
from coverage_audit.ledger.tables import SHELF_RECORDS, VOLUME_FACTS


def room_histories(
    connection: Connection, volumes: Iterable[VolumeKey], since: datetime, lineage: Lineage
) -> tuple[RoomHistory, ...]:
    """Return what was seen of each volume's room after `since`, of each UTC day the last reading.

    Where a person accepted that a volume shows another identity, it begins there, unless its filesystem is the same.
    """
    return tuple(_history(connection, volume, since, lineage.of_device(volume.device)) for volume in volumes)


def _history(connection: Connection, volume: VolumeKey, since: datetime, names: Sequence[DeviceId]) -> RoomHistory:
    accepted = accepted_at(connection, volume, names)
    uuid = _pinned_uuid(connection, volume, names)
    found: dict[date, RoomDay] = {}
    seen = (*_by_audits(connection, volume, since, names), *_of_the_shelf(connection, volume, since, names))
    for shown, day in sorted(seen, key=lambda each: each[1].at):
        if accepted is None or day.at >= accepted or (uuid is not None and shown == uuid):
            found[day.at.astimezone(UTC).date()] = day
    days = tuple(found.values())
    firsts = [_first_seen(connection, volume, names, accepted), *(day.at for day in days[:1])]
    return RoomHistory(volume=volume, first=min((at for at in firsts if at), default=None), days=days)


def _pinned_uuid(connection: Connection, volume: VolumeKey, names: Sequence[DeviceId]) -> str | None:
    facts = pinned(connection, volume, names) or ()
    return next((fact.value for fact in facts if fact.name == "filesystem_uuid"), None)


def _by_audits(
    connection: Connection, volume: VolumeKey, since: datetime, names: Sequence[DeviceId]
) -> Iterator[tuple[str | None, RoomDay]]:
    """Go through what audits saw: the filesystem's UUID and the room. What lay there in its stead is none of it."""
    table = VOLUME_FACTS.c
    columns: list[Any] = [table.at, table.capacity, table.free, table.body]
    rows = connection.execute(select(*columns).where(_own(volume, names), table.at > since))
    for row in rows:
        yield row.body["filesystem_uuid"], _day(row.at, row.body | {"capacity": row.capacity, "free": row.free})


def _of_the_shelf(
    connection: Connection, volume: VolumeKey, since: datetime, names: Sequence[DeviceId]
) -> Iterator[tuple[str | None, RoomDay]]:
    table = SHELF_RECORDS.c
    rows = connection.execute(select(table.facts).where(_of(SHELF_RECORDS, volume, names), table.at > since))
    for row in rows:
        shown = row.facts["volume"]
        if shown:
            yield shown["filesystem_uuid"], _day(datetime.fromisoformat(shown["at"]), shown)


def _day(at: datetime, shown: Any) -> RoomDay:
    return RoomDay(
        at=at,
        capacity=shown["capacity"],
        free=shown["free"],
        inodes=shown["inodes"],
        inodes_free=shown["inodes_free"],
    )


def _first_seen(
    connection: Connection, volume: VolumeKey, names: Sequence[DeviceId], accepted: datetime | None
) -> datetime | None:
    table = VOLUME_FACTS.c
    asked = select(func.min(table.at)).where(_own(volume, names))
    first: datetime | None = connection.execute(
        asked if accepted is None else asked.where(table.at >= accepted)
    ).scalar()
    return first


def _own(volume: VolumeKey, names: Sequence[DeviceId]) -> ColumnElement[bool]:
    trusted = VOLUME_FACTS.c.trusted
    return _of(VOLUME_FACTS, volume, names) & (trusted.is_(None) | trusted)


def _of(table: Table, volume: VolumeKey, names: Sequence[DeviceId]) -> ColumnElement[bool]:
    return table.c.device.in_(names) & (table.c.volume == volume.volume)

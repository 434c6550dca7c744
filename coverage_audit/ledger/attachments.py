"""Since when shelf drives have been plugged in, as far as audits saw them."""

from __future__ import annotations

from collections.abc import Iterable

from sqlalchemy import Connection, delete, insert, select

from coverage_audit.estate.model import DeviceId, VolumeId, VolumeKey
from coverage_audit.evidence.shelf import Attached
from coverage_audit.ledger.tables import ATTACHMENTS


def attachments(connection: Connection) -> tuple[Attached, ...]:
    """Return every shelf volume that was attached when it was last looked for."""
    rows = connection.execute(select(ATTACHMENTS).order_by(ATTACHMENTS.c.device, ATTACHMENTS.c.volume))
    return tuple(
        Attached(
            volume=VolumeKey(device=DeviceId(row.device), volume=VolumeId(row.volume)),
            host=DeviceId(row.host),
            since=row.since,
            last=row.last,
        )
        for row in rows
    )


def write_attachments(connection: Connection, seen: Iterable[Attached], gone: Iterable[VolumeKey]) -> None:
    """Write what was seen attached; what was looked for where it was and is not there any more is forgotten."""
    for volume in gone:
        _forget(connection, volume)
    for attached in seen:
        _forget(connection, attached.volume)
        connection.execute(
            insert(ATTACHMENTS).values(
                device=attached.volume.device,
                volume=attached.volume.volume,
                host=attached.host,
                since=attached.since,
                last=attached.last,
            )
        )


def _forget(connection: Connection, volume: VolumeKey) -> None:
    connection.execute(
        delete(ATTACHMENTS).where(ATTACHMENTS.c.device == volume.device, ATTACHMENTS.c.volume == volume.volume)
    )

"""What is recorded of shelf drives: each tree a manifest of its own, with what the drive showed when it was made."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Any

from sqlalchemy import Connection, insert, select

from coverage_audit.estate.model import Address, DeviceId, VolumeId, VolumeKey
from coverage_audit.evidence.facts import DeviceFacts, PointList, VolumeFacts
from coverage_audit.evidence.manifest import CompleteManifest, Manifest
from coverage_audit.evidence.shelf import ShelfTree
from coverage_audit.ledger.mapping import (
    load_device_facts,
    load_points,
    load_volume_facts,
    store_device_facts,
    store_points,
    store_volume_facts,
)
from coverage_audit.ledger.tables import MANIFESTS, SHELF_RECORDS


@dataclass(frozen=True, kw_only=True)
class ShelfFacts:
    """What a drive showed when a tree of it was recorded, and how that came about."""

    how: str
    device: DeviceFacts | None
    volume: VolumeFacts | None
    points: PointList | None


@dataclass(frozen=True, kw_only=True)
class ShelfRow:
    """One recorded tree but for its manifest, which lies in the file of this name (None: it was pruned)."""

    address: Address
    file: str | None
    at: datetime
    host: DeviceId | None
    facts: ShelfFacts

    def with_manifest(self, manifest: Manifest) -> ShelfTree:
        """Return the whole, its manifest opened."""
        return shelf_tree(self.address, manifest, self.facts, at=self.at, host=self.host)


def shelf_tree(
    address: Address, manifest: Manifest, facts: ShelfFacts, *, at: datetime, host: DeviceId | None
) -> ShelfTree:
    """Join a manifest with what its drive showed."""
    return ShelfTree(
        address=address,
        manifest=manifest,
        at=at,
        how=facts.how,
        host=host,
        device=facts.device,
        volume=facts.volume,
        points=facts.points,
    )


def write_shelf(
    connection: Connection, trees: Iterable[ShelfTree], moved: Mapping[Path, Path], audit: int | None = None
) -> None:
    """Write recorded trees; their files are in place, and `moved` says under which names."""
    for tree in trees:
        connection.execute(
            insert(SHELF_RECORDS).values(
                device=tree.address.volume.device,
                volume=tree.address.volume.volume,
                path=tree.address.path,
                manifest=_manifest(connection, tree, moved[tree.manifest.file].name, audit),
                at=tree.at,
                host=tree.host,
                facts=store_shelf_facts(tree),
            )
        )


def shelf_rows(connection: Connection, device: DeviceId, formerly: Sequence[DeviceId]) -> tuple[ShelfRow, ...]:
    """Return all that is recorded of a device's volumes, the last recorded first, under its present id."""
    rows = connection.execute(
        select(SHELF_RECORDS, MANIFESTS.c.file)
        .join(MANIFESTS, MANIFESTS.c.id == SHELF_RECORDS.c.manifest)
        .where(SHELF_RECORDS.c.device.in_([device, *formerly]))
        .order_by(SHELF_RECORDS.c.id.desc())
    )
    return tuple(_row(device, row) for row in rows)


def _manifest(connection: Connection, tree: ShelfTree, name: str, audit: int | None) -> int:
    """Return the number of a tree's manifest, which an audit may have written already."""
    known = connection.execute(select(MANIFESTS.c.id).where(MANIFESTS.c.file == name)).scalar()
    if known is not None:
        return int(known)
    manifest = tree.manifest
    made = connection.execute(
        insert(MANIFESTS)
        .values(
            audit=audit,
            device=tree.address.volume.device,
            volume=tree.address.volume.volume,
            path=tree.address.path,
            own_path=manifest.origin.address.path,
            started=manifest.origin.started,
            complete=isinstance(manifest, CompleteManifest),
            trusted=True,
            files=manifest.census.files,
            bytes=manifest.census.bytes,
            file=name,
        )
        .returning(MANIFESTS.c.id)
    )
    number: int = made.scalar_one()
    return number


def store_shelf_facts(tree: ShelfTree) -> dict[str, Any]:
    """Return the stored form of what a drive showed when a tree of it was recorded."""
    return {
        "how": tree.how,
        "device": tree.device and {"at": tree.device.at.isoformat(), **store_device_facts(tree.device)},
        "volume": tree.volume and {"at": tree.volume.at.isoformat(), **store_volume_facts(tree.volume)},
        "points": tree.points and {"at": tree.points.at.isoformat(), **store_points(tree.points)},
    }


def load_shelf_facts(address: Address, stored: Mapping[str, Any]) -> ShelfFacts:
    """Return what a drive showed, under the address that it has here."""
    device, volume = address.volume.device, address.volume.volume
    box, disk, points = stored["device"], stored["volume"], stored["points"]
    return ShelfFacts(
        how=stored["how"],
        device=box and load_device_facts(device, datetime.fromisoformat(box["at"]), box),
        volume=disk and load_volume_facts(device, volume, datetime.fromisoformat(disk["at"]), disk),
        points=points and load_points(address, datetime.fromisoformat(points["at"]), points),
    )


def _row(device: DeviceId, row: Any) -> ShelfRow:
    address = Address(volume=VolumeKey(device=device, volume=VolumeId(row.volume)), path=row.path)
    host = None if row.host is None else DeviceId(row.host)
    return ShelfRow(address=address, file=row.file, at=row.at, host=host, facts=load_shelf_facts(address, row.facts))

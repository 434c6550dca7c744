"""What earlier audits left: facts, points and manifests of a place, under its device's former names too."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from pathlib import Path

from sqlalchemy import ColumnElement, Connection, Table, and_, or_, select, true

from coverage_audit.estate.former import Lineage
from coverage_audit.estate.model import Address, DatasetId, DeviceId
from coverage_audit.evidence.difference import Tally
from coverage_audit.evidence.facts import DeviceFacts, PointList, VolumeFacts
from coverage_audit.evidence.points_past import PointsPast, begun_with
from coverage_audit.judgement.verdict import Standing
from coverage_audit.ledger.mapping import load_device_facts, load_points, load_volume_facts
from coverage_audit.ledger.mapping_past import load_past
from coverage_audit.ledger.tables import AUDITS, DEVICE_FACTS, JUDGED_DATASETS, MANIFESTS, POINTS, VOLUME_FACTS

Shown = tuple[DeviceFacts, tuple[VolumeFacts, ...]]


def last_facts(connection: Connection, device: DeviceId, formerly: Sequence[DeviceId]) -> Shown | None:
    """Return what a device last showed of itself, and its volumes in that same audit; under its present id."""
    row = connection.execute(
        select(DEVICE_FACTS)
        .where(DEVICE_FACTS.c.device.in_([device, *formerly]))
        .order_by(DEVICE_FACTS.c.audit.desc())
        .limit(1)
    ).first()
    if row is None:
        return None
    volumes = connection.execute(
        select(VOLUME_FACTS)
        .where(VOLUME_FACTS.c.audit == row.audit, VOLUME_FACTS.c.device == row.device)
        .order_by(VOLUME_FACTS.c.volume)
    )
    return load_device_facts(device, row.at, row.body), tuple(
        load_volume_facts(device, volume.volume, volume.at, volume.body) for volume in volumes
    )


def last_points(connection: Connection, address: Address, formerly: Sequence[DeviceId]) -> PointList | None:
    """Return the recovery points of a dated copy as they were last seen."""
    row = connection.execute(
        select(POINTS).where(lies_at(POINTS, address, formerly)).order_by(POINTS.c.audit.desc()).limit(1)
    ).first()
    return None if row is None else load_points(address, row.at, row.body)


def points_before(
    connection: Connection, address: Address, formerly: Sequence[DeviceId]
) -> tuple[PointList, PointsPast] | None:
    """Return the last list of a dated copy's points and their past, which may begin with that list."""
    row = connection.execute(
        select(POINTS).where(lies_at(POINTS, address, formerly)).order_by(POINTS.c.audit.desc()).limit(1)
    ).first()
    if row is None:
        return None
    points = load_points(address, row.at, row.body)
    return points, load_past(row.body["past"]) if row.body.get("past") else begun_with(points)


def last_proven_size(connection: Connection, datasets: Sequence[DatasetId], since: datetime | None) -> Tally | None:
    """Return what a dataset's original held when it was last proven, in audits started after `since` (None: ever).

    `datasets` are the dataset's names, the present one first.
    """
    row = connection.execute(
        select(JUDGED_DATASETS.c.original_files, JUDGED_DATASETS.c.original_bytes)
        .join(AUDITS, AUDITS.c.id == JUDGED_DATASETS.c.audit)
        .where(JUDGED_DATASETS.c.dataset.in_(datasets))
        .where(JUDGED_DATASETS.c.original_standing == Standing.PROVEN.value)
        .where(JUDGED_DATASETS.c.original_files.is_not(None))
        .where(AUDITS.c.started > since if since is not None else true())
        .order_by(AUDITS.c.id.desc(), (JUDGED_DATASETS.c.dataset == datasets[0]).desc())
        .limit(1)
    ).first()
    return None if row is None else Tally(files=row.original_files, bytes=row.original_bytes)


def trusted_manifests(
    connection: Connection, address: Address, formerly: Sequence[DeviceId], *, complete: bool
) -> tuple[tuple[datetime, str], ...]:
    """Return the kept manifests of a place with when their listing started; the last recorded comes first.

    Only those of trusted volumes. `address` is the declared one, or that of a single recovery point. The order
    is that of recording: a night on which the clock was years ahead is not the newest for years.
    """
    own = and_(MANIFESTS.c.own_path == address.path, *_on(MANIFESTS, address, formerly))
    rows = connection.execute(
        select(MANIFESTS.c.started, MANIFESTS.c.file)
        .where(lies_at(MANIFESTS, address, formerly) | own)
        .where(MANIFESTS.c.trusted, MANIFESTS.c.file.is_not(None), MANIFESTS.c.complete | (not complete))
        .order_by(MANIFESTS.c.id.desc())
    )
    return tuple((row.started, row.file) for row in rows)


def lies_at(table: Table, address: Address, formerly: Sequence[DeviceId]) -> ColumnElement[bool]:
    """Return the condition that a row's place is this address, also under the device's former ids."""
    return and_(table.c.path == address.path, *_on(table, address, formerly))


def is_of(table: Table, dataset: DatasetId, place: Address, lineage: Lineage) -> ColumnElement[bool]:
    """Return the condition that a row is of this place of a dataset, also under the names and places of before."""
    places = (lies_at(table, one, ()) for one in lineage.of_place(dataset, place))
    return and_(table.c.dataset.in_(lineage.of_dataset(dataset)), or_(*places))


def _on(table: Table, address: Address, formerly: Sequence[DeviceId]) -> tuple[ColumnElement[bool], ...]:
    return (
        table.c.device.in_([address.volume.device, *formerly]),
        table.c.volume == address.volume.volume,
    )


def still_there(folder: Path, name: str | None) -> Path | None:
    """Return the file of this name if it is there: somebody may have removed it by hand."""
    file = None if name is None else folder / name
    return file if file is not None and file.is_file() else None

"""The last comparison of an original and a copy, as the next one needs it."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from pathlib import Path

from sqlalchemy import Connection, func, select

from coverage_audit.estate.model import Address, DatasetId, DeviceId, VolumeId, VolumeKey
from coverage_audit.evidence.difference import TakeUp
from coverage_audit.ledger.folder import StateFolder
from coverage_audit.ledger.history import lies_at, still_there, trusted_manifests
from coverage_audit.ledger.record import EarlierRecord
from coverage_audit.ledger.tables import AUDITS, COMPARISONS, MANIFESTS


def earlier(
    connection: Connection, folder: StateFolder, dataset: DatasetId, copy: Address, formerly: Sequence[DeviceId]
) -> EarlierRecord | None:
    """Return what is known of the last comparison of a pair (None: it was never compared)."""
    pair = (COMPARISONS.c.dataset == dataset, lies_at(COMPARISONS, copy, formerly))
    row = connection.execute(
        select(COMPARISONS, AUDITS.c.started.label("audit_started"))
        .join(AUDITS, AUDITS.c.id == COMPARISONS.c.audit)
        .where(*pair)
        .order_by(COMPARISONS.c.id.desc())
        .limit(1)
    ).first()
    if row is None:
        return None
    used = connection.execute(select(MANIFESTS).where(MANIFESTS.c.id == row.original)).one()
    copy_file = connection.execute(select(MANIFESTS.c.file).where(MANIFESTS.c.id == row.copy)).scalar()
    return EarlierRecord(
        at=max(row.audit_started, used.started),
        originals=_originals(connection, folder, dataset),
        copy_manifest=still_there(folder.manifests, copy_file),
        relation=still_there(folder.relations, row.relation),
        take_up=TakeUp(last_progress=row.last_progress, gone_unheld=row.gone_unheld, pending_since=row.pending_since),
        first_at=connection.execute(select(func.min(COMPARISONS.c.first_at)).where(*pair)).scalar_one(),
    )


def _originals(connection: Connection, folder: StateFolder, dataset: DatasetId) -> tuple[tuple[datetime, Path], ...]:
    """Return the complete manifests still kept of wherever this dataset's original was compared, oldest first."""
    places = connection.execute(
        select(MANIFESTS.c.device, MANIFESTS.c.volume, MANIFESTS.c.path)
        .join(COMPARISONS, COMPARISONS.c.original == MANIFESTS.c.id)
        .where(COMPARISONS.c.dataset == dataset)
        .distinct()
    ).all()
    kept: dict[str, datetime] = {}
    for place in places:
        volume = VolumeKey(device=DeviceId(place.device), volume=VolumeId(place.volume))
        address = Address(volume=volume, path=place.path)
        kept.update({name: started for started, name in trusted_manifests(connection, address, (), complete=True)})
    listed = sorted((started, name) for name, started in kept.items())
    return tuple((started, file) for started, name in listed if (file := still_there(folder.manifests, name)))

"""The last comparison of an original and a copy, as the next one needs it; under all names that they ever had."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from pathlib import Path

from sqlalchemy import ColumnElement, Connection, and_, func, or_, select

from coverage_audit.estate.former import Lineage
from coverage_audit.estate.model import Address, DatasetId, DeviceId, VolumeId, VolumeKey
from coverage_audit.evidence.difference import TakeUp, Tally
from coverage_audit.judgement.case import LeftOut
from coverage_audit.ledger.folder import StateFolder
from coverage_audit.ledger.history import lies_at, still_there, trusted_manifests
from coverage_audit.ledger.mapping import load_tallies
from coverage_audit.ledger.pins import accepted_at
from coverage_audit.ledger.record import EarlierRecord
from coverage_audit.ledger.tables import AUDITS, COMPARISONS, MANIFESTS

NIGHTS_REMEMBERED = 400
"""How many of a pair's last comparisons tell what was left out."""


def earlier(
    connection: Connection, folder: StateFolder, dataset: DatasetId, copy: Address, lineage: Lineage
) -> EarlierRecord | None:
    """Return what is known of the last comparison of a pair (None: it was never compared).

    Where one audit compared it under several names (they are one from now on), the present name's goes on.
    """
    pair = of_pair(dataset, copy, lineage)
    own = and_(COMPARISONS.c.dataset == dataset, lies_at(COMPARISONS, copy, ()))
    row = connection.execute(
        select(COMPARISONS, AUDITS.c.started.label("audit_started"))
        .join(AUDITS, AUDITS.c.id == COMPARISONS.c.audit)
        .where(pair)
        .order_by(COMPARISONS.c.audit.desc(), own.desc(), COMPARISONS.c.id.desc())
        .limit(1)
    ).first()
    if row is None:
        return None
    used = connection.execute(select(MANIFESTS).where(MANIFESTS.c.id == row.original)).one()
    copy_file = connection.execute(select(MANIFESTS.c.file).where(MANIFESTS.c.id == row.copy)).scalar()
    accepted = accepted_at(connection, copy.volume, lineage.of_device(copy.volume.device))
    return EarlierRecord(
        at=max(row.audit_started, used.started),
        originals=_originals(connection, folder, lineage.of_dataset(dataset)),
        copy_manifest=still_there(folder.manifests, copy_file),
        relation=still_there(folder.relations, row.relation),
        take_up=TakeUp(last_progress=row.last_progress, gone_unheld=row.gone_unheld, pending_since=row.pending_since),
        accepted=accepted is not None and accepted > row.audit_started,
        first_at=connection.execute(select(func.min(COMPARISONS.c.first_at)).where(pair)).scalar_one(),
    )


def of_pair(dataset: DatasetId, copy: Address, lineage: Lineage) -> ColumnElement[bool]:
    """Return the condition that a comparison is one of this dataset with this copy, whatever they were called."""
    places = (lies_at(COMPARISONS, place, ()) for place in lineage.of_place(dataset, copy))
    return and_(COMPARISONS.c.dataset.in_(lineage.of_dataset(dataset)), or_(*places))


def left_out(connection: Connection, dataset: DatasetId, copy: Address, lineage: Lineage) -> tuple[LeftOut, ...]:
    """Return what was left out at the last comparisons of a pair, the newest first."""
    rows = connection.execute(
        select(AUDITS.c.started, COMPARISONS.c.left_out_by, MANIFESTS.c.files, MANIFESTS.c.bytes)
        .join(AUDITS, AUDITS.c.id == COMPARISONS.c.audit)
        .join(MANIFESTS, MANIFESTS.c.id == COMPARISONS.c.original)
        .where(of_pair(dataset, copy, lineage), COMPARISONS.c.left_out_by.is_not(None))
        .order_by(COMPARISONS.c.id.desc())
        .limit(NIGHTS_REMEMBERED)
    )
    return tuple(
        LeftOut(at=row.started, whole=Tally(files=row.files, bytes=row.bytes), by=load_tallies(row.left_out_by))
        for row in rows
    )


def _originals(
    connection: Connection, folder: StateFolder, datasets: Sequence[DatasetId]
) -> tuple[tuple[datetime, Path], ...]:
    """Return the complete manifests still kept of wherever this dataset's original was compared, oldest first."""
    places = connection.execute(
        select(MANIFESTS.c.device, MANIFESTS.c.volume, MANIFESTS.c.path)
        .join(COMPARISONS, COMPARISONS.c.original == MANIFESTS.c.id)
        .where(COMPARISONS.c.dataset.in_(datasets))
        .distinct()
    ).all()
    kept: dict[str, datetime] = {}
    for place in places:
        volume = VolumeKey(device=DeviceId(place.device), volume=VolumeId(place.volume))
        address = Address(volume=volume, path=place.path)
        kept.update({name: started for started, name in trusted_manifests(connection, address, (), complete=True)})
    listed = sorted((started, name) for name, started in kept.items())
    return tuple((started, file) for started, name in listed if (file := still_there(folder.manifests, name)))

"""What each place lost and rewrote from audit to audit, under all names that it ever had."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime
from pathlib import Path
from typing import Any, Final

from sqlalchemy import Connection, Engine, Row, and_, delete, func, insert, select

from coverage_audit.errors import EvidenceError
from coverage_audit.estate.former import Lineage
from coverage_audit.estate.model import Address, DatasetId
from coverage_audit.evidence.manifest import Manifest
from coverage_audit.ledger.folder import StateFolder
from coverage_audit.ledger.history import is_of, still_there
from coverage_audit.ledger.mapping_turnover import load_change, load_shares, store_change, store_shares
from coverage_audit.ledger.pins import accepted_at
from coverage_audit.ledger.tables import AUDITS, MANIFESTS
from coverage_audit.ledger.tables_of_turnover import TURNOVERS
from coverage_audit.ledger.transactions import Transactions
from coverage_audit.ledger.turnover_record import KeptTurnover, TurnoverRecord

AUDITS_KEPT: Final = 30
"""Of so many of a place's last audits the shares are kept."""


class TurnoverBook(Transactions):
    """What places lost and rewrote. Raises LedgerError."""

    def __init__(self, engine: Engine, folder: StateFolder, where: str) -> None:
        super().__init__(engine, where)
        self._folder = folder

    def last(self, dataset: DatasetId, place: Address, lineage: Lineage) -> KeptTurnover | None:
        """Return what the audit before left of a place (None: none did)."""
        with self._reading() as connection:
            rows = connection.execute(
                select(TURNOVERS, MANIFESTS.c.file)
                .outerjoin(MANIFESTS, MANIFESTS.c.id == TURNOVERS.c.against)
                .where(is_of(TURNOVERS, dataset, place, lineage))
                .order_by(TURNOVERS.c.audit.desc(), TURNOVERS.c.id.desc())
                .limit(AUDITS_KEPT)
            ).all()
            accepted = accepted_at(connection, place.volume, lineage.of_device(place.volume.device))
        return self._kept(rows[0], [row.body for row in rows], accepted) if rows else None

    def _kept(self, row: Row[Any], bodies: list[Mapping[str, Any]], accepted: datetime | None) -> KeptTurnover:
        standing = None if row.body["standing"] is None else load_change(row.body["standing"])
        after = standing is not None and accepted is not None and accepted > standing.since
        return KeptTurnover(
            against=self._opened(row.file),
            open=row.body.get("open", False),  # the first rows of this table did not say
            standing=standing,
            rows=still_there(self._folder.relations, row.rows),
            accepted=accepted if after else None,
            history=tuple(load_shares(body["shares"]) for body in bodies if body["shares"] is not None),
        )

    def _opened(self, name: str | None) -> Manifest | None:
        from coverage_audit.evidence.store import open_manifest  # noqa: PLC0415 - pyarrow is slow to import

        file = still_there(self._folder.manifests, name)
        try:
            return None if file is None else open_manifest(file)
        except EvidenceError:
            return None


def write_turnover(connection: Connection, audit: int, record: TurnoverRecord, moved: Mapping[Path, Path]) -> None:
    """Write what an audit leaves of a place, and let go of what is too long ago to be learned from."""
    place = {
        "dataset": record.dataset,
        "device": record.place.volume.device,
        "volume": record.place.volume.volume,
        "path": record.place.path,
    }
    number = None
    if record.against is not None:
        name = moved.get(record.against, record.against).name
        number = connection.execute(select(MANIFESTS.c.id).where(MANIFESTS.c.file == name)).scalar()
    connection.execute(
        insert(TURNOVERS).values(
            **place,
            audit=audit,
            at=record.at,
            against=number,
            rows=None if record.rows is None else moved[record.rows].name,
            body={
                "shares": None if record.shares is None else store_shares(record.shares),
                "open": record.open,
                "standing": None if record.standing is None else store_change(record.standing),
            },
        )
    )
    own = and_(*(TURNOVERS.c[name] == value for name, value in place.items()))
    newest = select(TURNOVERS.c.id).where(own).order_by(TURNOVERS.c.id.desc()).limit(AUDITS_KEPT)
    connection.execute(delete(TURNOVERS).where(own, TURNOVERS.c.id.not_in(newest.scalar_subquery())))


def last_of_each_place(connection: Connection, since: datetime) -> list[Row[Any]]:
    """Return what the last audit since then left of each place: `against` (its number) and `rows` (a name)."""
    place = (TURNOVERS.c.dataset, TURNOVERS.c.device, TURNOVERS.c.volume, TURNOVERS.c.path)
    last = select(func.max(TURNOVERS.c.id)).group_by(*place)
    chosen = (
        select(TURNOVERS.c.against, TURNOVERS.c.rows)
        .join(AUDITS, AUDITS.c.id == TURNOVERS.c.audit)
        .where(TURNOVERS.c.id.in_(last), AUDITS.c.started >= since)
    )
    return list(connection.execute(chosen))

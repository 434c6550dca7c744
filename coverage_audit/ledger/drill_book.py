"""The drills of a ledger: what was read back out of copies, whether it was what it should be, and how fast."""

from __future__ import annotations

from statistics import median
from typing import Any, Final

from sqlalchemy import ColumnElement, Row, insert, select

from coverage_audit.estate.former import NO_LINEAGE, Lineage
from coverage_audit.estate.model import Address, DatasetId, DeviceId, VolumeId, VolumeKey
from coverage_audit.evidence.drilling import LEAST_MEASURED, Drill, DrillOutcome, DrillsOfCopy, drills_of_copy
from coverage_audit.ledger.history import is_of
from coverage_audit.ledger.mapping_drills import load_drill, store_drill
from coverage_audit.ledger.pins import accepted_at
from coverage_audit.ledger.tables_of_proof import DRILLS
from coverage_audit.ledger.transactions import Transactions

_RATES: Final = 5
"""Of how many of the last drills of a volume the median rate is taken."""


class DrillBook(Transactions):
    """The drills of a ledger. Every method raises LedgerError. Drills of renamed or moved parts go on by `lineage`."""

    def record(self, drill: Drill) -> None:
        """Record a drill."""
        values = {
            "dataset": drill.dataset,
            "device": drill.copy.volume.device,
            "volume": drill.copy.volume.volume,
            "path": drill.copy.path,
            "at": drill.at,
            "outcome": drill.outcome.value,
            "read_bytes": drill.read,
            "seconds": drill.seconds,
            "body": store_drill(drill),
        }
        with self._writing() as connection:
            connection.execute(insert(DRILLS).values(**values))

    def of(self, dataset: DatasetId, lineage: Lineage = NO_LINEAGE) -> tuple[Drill, ...]:
        """Return all drills of a dataset, the newest first."""
        return self._drills(DRILLS.c.dataset.in_(lineage.of_dataset(dataset)))

    def newest(self, dataset: DatasetId, copy: Address, lineage: Lineage = NO_LINEAGE) -> DrillsOfCopy:
        """Return what a copy's drills tell (of its declared address).

        What was before a person accepted anew what its volume shows does not count any more: it was of another place.
        """
        with self._reading() as connection:
            accepted = accepted_at(connection, copy.volume, lineage.of_device(copy.volume.device))
        found = self._drills(is_of(DRILLS, dataset, copy, lineage))
        counting = [drill for drill in found if accepted is None or drill.at >= accepted]
        return drills_of_copy(counting)

    def measured(self, volume: VolumeKey, formerly: tuple[DeviceId, ...] = ()) -> float | None:
        """Return the bytes a second at which a volume was read back: the median of its last drills (None: of none).

        A drill that read too little to tell is passed over.
        """
        with self._reading() as connection:
            rows = connection.execute(
                select(DRILLS.c.read_bytes, DRILLS.c.seconds)
                .where(
                    DRILLS.c.device.in_([volume.device, *formerly]),
                    DRILLS.c.volume == volume.volume,
                    DRILLS.c.read_bytes >= LEAST_MEASURED,
                    DRILLS.c.seconds > 0,
                )
                .order_by(DRILLS.c.at.desc(), DRILLS.c.id.desc())
                .limit(_RATES)
            ).all()
        return median(row.read_bytes / row.seconds for row in rows) if rows else None

    def _drills(self, which: ColumnElement[bool]) -> tuple[Drill, ...]:
        with self._reading() as connection:
            rows = connection.execute(
                select(DRILLS).where(which).order_by(DRILLS.c.at.desc(), DRILLS.c.id.desc())
            ).all()
        return tuple(_drill(row) for row in rows)


def _drill(row: Row[Any]) -> Drill:
    volume = VolumeKey(device=DeviceId(row.device), volume=VolumeId(row.volume))
    return Drill(
        dataset=DatasetId(row.dataset),
        copy=Address(volume=volume, path=row.path),
        at=row.at,
        outcome=DrillOutcome(row.outcome),
        read=row.read_bytes,
        seconds=row.seconds,
        **load_drill(row.body),
    )

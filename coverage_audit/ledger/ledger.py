"""The ledger: all that is remembered from one audit to the next, in plain values.

Opened by `coverage_audit.ledger.opening.open_ledger`. Every method raises LedgerError, saying what to do, where
the database or the state folder fails. For one thread.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from datetime import datetime
from pathlib import Path
from types import TracebackType
from typing import Self

from sqlalchemy import Engine, select

from coverage_audit.errors import EvidenceError
from coverage_audit.estate.changes import accepted
from coverage_audit.estate.former import NO_LINEAGE, Lineage
from coverage_audit.estate.model import Address, DatasetId, DeviceId, VolumeKey
from coverage_audit.evidence.difference import Tally
from coverage_audit.evidence.facts import DeviceFacts, PinnedFact, PointList, VolumeFacts
from coverage_audit.evidence.manifest import Manifest
from coverage_audit.evidence.points_past import PointsPast
from coverage_audit.evidence.shelf import Attached, ShelfTree
from coverage_audit.evidence.surveyed import SurveySummary
from coverage_audit.judgement.case import LeftOut
from coverage_audit.judgement.verdict import Conclusion
from coverage_audit.ledger import attachments, events, history, pairs, pins, shelf, surveys
from coverage_audit.ledger.books import Books
from coverage_audit.ledger.faults import speaking_of_database
from coverage_audit.ledger.folder import StateFolder, speaking_of
from coverage_audit.ledger.keeping import prune
from coverage_audit.ledger.mapping import load_finding
from coverage_audit.ledger.pins import shown
from coverage_audit.ledger.record import AuditRecord, EarlierRecord, EstateEvent, Recorded, StoredFinding
from coverage_audit.ledger.recording import record_audit
from coverage_audit.ledger.recording_shelf import record_shelf
from coverage_audit.ledger.tables import AUDITS, FINDINGS


class Ledger(Books):
    """A state folder's ledger and its books. `seed` keys the paths of its manifests (16 bytes)."""

    def __init__(self, *, engine: Engine, folder: StateFolder, seed: bytes, where: str) -> None:
        super().__init__(engine=engine, folder=folder, where=where)
        self._folder = folder
        self.seed = seed

    def __enter__(self) -> Self:
        """Return itself; `close` is called at the end."""
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        """Close."""
        self.close()

    def close(self) -> None:
        """Let go of the database."""
        self._engine.dispose()

    def staging(self, audit_started: datetime) -> Path:
        """Return a new folder for an audit's files; what is not recorded is cleared away later."""
        return self._folder.stage(audit_started)

    def pins(self, volume: VolumeKey, formerly: Sequence[DeviceId] = ()) -> tuple[PinnedFact, ...] | None:
        """Return what is pinned of a volume's identity (None: it was never seen)."""
        with self._reading() as connection:
            return pins.pinned(connection, volume, formerly)

    def accept(
        self, volume: VolumeKey, facts: Sequence[PinnedFact], at: datetime, who: str, formerly: Sequence[DeviceId] = ()
    ) -> None:
        """Pin a volume's identity anew, on the word of `who`, and note what was changed for what."""
        with self._writing() as connection:
            before = pins.pinned(connection, volume, formerly) or ()
            pins.replace_pins(connection, volume, tuple(facts), at, who)
            events.write(connection, (accepted(str(volume), shown(before), shown(facts), who),), at, None)

    def estate_events(self, since: datetime) -> tuple[EstateEvent, ...]:
        """Return what changed in the estate after `since`, in the order in which it was noted."""
        with self._reading() as connection:
            return events.since(connection, since)

    def last_estate(self) -> str | None:
        """Return the text of the estate that the last audit judged (None: there was none)."""
        with self._reading() as connection:
            return events.last_estate(connection)

    def proven_size(self, dataset: DatasetId, volume: VolumeKey, lineage: Lineage = NO_LINEAGE) -> Tally | None:
        """Return what a dataset's original held when it was last proven (None: it never was).

        What was before a person accepted anew what its `volume` shows does not count any more.
        """
        with self._reading() as connection:
            accepted = pins.accepted_at(connection, volume, lineage.of_device(volume.device))
            return history.last_proven_size(connection, lineage.of_dataset(dataset), accepted)

    def last_answer_facts(
        self, device: DeviceId, formerly: Sequence[DeviceId] = ()
    ) -> tuple[DeviceFacts, tuple[VolumeFacts, ...]] | None:
        """Return what a device and its volumes last showed of themselves (None: it never answered)."""
        with self._reading() as connection:
            return history.last_facts(connection, device, formerly)

    def last_points(self, address: Address, formerly: Sequence[DeviceId] = ()) -> PointList | None:
        """Return a dated copy's recovery points as last seen."""
        with self._reading() as connection:
            return history.last_points(connection, address, formerly)

    def points_before(self, address: Address, formerly: Sequence[DeviceId] = ()) -> tuple[PointList, PointsPast] | None:
        """Return a dated copy's points as last seen on a trusted volume, and what is remembered of those before."""
        with self._reading() as connection:
            return history.points_before(connection, address, formerly)

    def last_manifest(
        self, address: Address, formerly: Sequence[DeviceId] = (), *, complete: bool = False
    ) -> Manifest | None:
        """Return the newest manifest of a place that lay on a trusted volume; with `complete` no partial one.

        `address` is the declared one or that of one recovery point. A file that is gone or damaged is passed
        over for the one before it: older evidence bears its own older time.
        """
        with self._reading() as connection:
            kept = history.trusted_manifests(connection, address, formerly, complete=complete)
        return next((manifest for _, name in kept if (manifest := self._open(name)) is not None), None)

    def shelf_trees(self, device: DeviceId, formerly: Sequence[DeviceId] = ()) -> tuple[ShelfTree, ...]:
        """Return the tree recorded last of each place of a shelf drive.

        A manifest that is gone or damaged is passed over for the one before it: it bears its own older time.
        """
        with self._reading() as connection:
            rows = shelf.shelf_rows(connection, device, formerly)
        found: dict[Address, ShelfTree] = {}
        for row in rows:
            if row.address not in found and row.file and (manifest := self._open(row.file)) is not None:
                found[row.address] = row.with_manifest(manifest)
        return tuple(found.values())

    def record_shelf(
        self, trees: Sequence[ShelfTree], volume: VolumeKey, pinned: Sequence[PinnedFact], at: datetime
    ) -> None:
        """Record trees of one volume of a shelf drive, whole or not at all, and pin what it showed.

        Only within `exclusive`.
        """
        with speaking_of_database(self._where):
            record_shelf(self._engine, self._folder, trees, (volume, tuple(pinned)), at)

    def attachments(self) -> tuple[Attached, ...]:
        """Return the shelf volumes that were plugged in when they were last looked for."""
        with self._reading() as connection:
            return attachments.attachments(connection)

    def last_survey(self, volume: VolumeKey, formerly: Sequence[DeviceId] = ()) -> SurveySummary | None:
        """Return what was found when a volume was last surveyed (None: it never was)."""
        with self._reading() as connection:
            return surveys.last_survey(connection, volume, formerly)

    def record_surveys(self, made: Iterable[SurveySummary]) -> None:
        """Record surveys that are part of no audit. Only within `exclusive`."""
        with self._writing() as connection:
            surveys.write_surveys(connection, made, None)

    def earlier(self, dataset: DatasetId, copy: Address, lineage: Lineage = NO_LINEAGE) -> EarlierRecord | None:
        """Return the last comparison of a dataset's original with a copy (its declared address)."""
        with self._reading() as connection:
            return pairs.earlier(connection, self._folder, dataset, copy, lineage)

    def left_out(self, dataset: DatasetId, copy: Address, lineage: Lineage = NO_LINEAGE) -> tuple[LeftOut, ...]:
        """Return what was left out at the last comparisons with a copy, the newest first."""
        with self._reading() as connection:
            return pairs.left_out(connection, dataset, copy, lineage)

    def record(self, record: AuditRecord) -> Recorded:
        """Record an audit, whole or not at all. Only within `exclusive`."""
        with speaking_of_database(self._where):
            return record_audit(self._engine, self._folder, record)

    def prune(self, now: datetime) -> None:
        """Remove the files that nothing needs any more. Only within `exclusive`."""
        with speaking_of_database(self._where), speaking_of(self._folder.path):
            prune(self._engine, self._folder, now)

    def since(self, finding_id: str) -> datetime | None:
        """Return since when a finding is open (None: it is not)."""
        with self._reading() as connection:
            return connection.execute(select(FINDINGS.c.since).where(FINDINGS.c.finding == finding_id)).scalar()

    def open_since(self) -> Mapping[str, datetime]:
        """Return all open findings with the moment at which each began."""
        with self._reading() as connection:
            rows = connection.execute(select(FINDINGS.c.finding, FINDINGS.c.since).where(FINDINGS.c.since.is_not(None)))
            return {row.finding: row.since for row in rows}

    def last_finding(self, finding_id: str) -> StoredFinding | None:
        """Return a finding as it was last answered (None: no audit ever had it)."""
        with self._reading() as connection:
            row = connection.execute(
                select(FINDINGS, AUDITS.c.started)
                .join(AUDITS, AUDITS.c.id == FINDINGS.c.audit)
                .where(FINDINGS.c.finding == finding_id)
            ).first()
            if row is None:
                return None
            return StoredFinding(
                finding=load_finding(row.body),
                dataset=None if row.dataset is None else DatasetId(row.dataset),
                at=row.started,
                since=row.since,
                conclusion=Conclusion(row.conclusion),
                current=row.current,
            )

    def finding_ids(self) -> tuple[str, ...]:
        """Return the ids of all findings ever answered, for "did you mean"."""
        with self._reading() as connection:
            return tuple(connection.scalars(select(FINDINGS.c.finding).order_by(FINDINGS.c.finding)))

    def _open(self, name: str) -> Manifest | None:
        """Open a manifest (imported here: commands that only explain read none)."""
        from coverage_audit.evidence.store import open_manifest  # noqa: PLC0415 - pyarrow is slow to import

        file = history.still_there(self._folder.manifests, name)
        try:
            return None if file is None else open_manifest(file)
        except EvidenceError:
            return None

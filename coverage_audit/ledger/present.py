"""What the ledger says of the present: the newest audit, what is open, and how old each piece of evidence is."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from datetime import date, datetime, timedelta
from typing import Any, Final

from sqlalchemy import Column, ColumnElement, Engine, Select, and_, func, or_, select

from coverage_audit.estate.former import Lineage
from coverage_audit.estate.model import Address, DatasetId, DeviceId
from coverage_audit.judgement.verdict import Answer, Conclusion
from coverage_audit.judgement.waiving import ASKED
from coverage_audit.ledger.folder import StateFolder
from coverage_audit.ledger.history import lies_at
from coverage_audit.ledger.lock import Lock, holder_of
from coverage_audit.ledger.mapping import load_finding
from coverage_audit.ledger.past_record import AuditDay, DatasetDay, NightOutcome
from coverage_audit.ledger.present_record import NightCounts, OpenFinding
from coverage_audit.ledger.tables import (
    AUDITS,
    DEVICE_FACTS,
    ESTATE_TEXTS,
    FINDINGS,
    JUDGED_DATASETS,
    MANIFESTS,
    POINTS,
)
from coverage_audit.ledger.tables import SHELF_RECORDS as SHELF
from coverage_audit.ledger.tables_of_nights import NIGHTS
from coverage_audit.ledger.transactions import Transactions

_DAY: Final = timedelta(days=1)


class Present(Transactions):
    """What a ledger says of the present. Every method raises LedgerError."""

    def __init__(self, engine: Engine, folder: StateFolder, where: str) -> None:
        super().__init__(engine, where)
        self._folder = folder

    def last_audit(self, now: datetime) -> AuditDay | None:
        """Return the audit of all datasets that finished last.

        One that a clock set wrong let finish after `now` is none: it would say for years that all is well.
        """
        with self._reading() as connection:
            row = connection.execute(_last(select(AUDITS), now)).first()
            if row is None:
                return None
            return AuditDay(
                started=row.started,
                finished=row.finished,
                conclusion=Conclusion(row.conclusion),
                whole=row.whole,
                rehearsal=row.rehearsal,
            )

    def last_estate(self, now: datetime) -> str | None:
        """Return the text of the estate that `last_audit` judged (None: there was none)."""
        with self._reading() as connection:
            texts = select(ESTATE_TEXTS.c.text).join_from(AUDITS, ESTATE_TEXTS)
            text: str | None = connection.scalar(_last(texts, now))
            return text

    def datasets(self, names: Iterable[DatasetId], lineage: Lineage) -> Mapping[DatasetId, DatasetDay]:
        """Return each dataset as it was judged last; one that never was is left out."""
        found = {}
        with self._reading() as connection:
            for name in names:
                row = connection.execute(
                    select(JUDGED_DATASETS, AUDITS.c.started)
                    .join(AUDITS, AUDITS.c.id == JUDGED_DATASETS.c.audit)
                    .where(JUDGED_DATASETS.c.dataset.in_(lineage.of_dataset(name)))
                    .order_by(JUDGED_DATASETS.c.audit.desc(), (JUDGED_DATASETS.c.dataset == name).desc())
                    .limit(1)
                ).first()
                if row is not None:
                    found[name] = DatasetDay(
                        dataset=name,
                        at=row.started,
                        conclusion=Conclusion(row.conclusion),
                        files=row.original_files,
                        bytes=row.original_bytes,
                        exposed_files=row.exposed_files,
                        exposed_bytes=row.exposed_bytes,
                        exposed_since=row.exposed_since,
                    )
        return found

    def open_findings(self) -> tuple[OpenFinding, ...]:
        """Return what fails or could not be told when it was last asked for, the oldest first; nothing waived."""
        with self._reading() as connection:
            rows = connection.execute(
                select(FINDINGS)
                .where(FINDINGS.c.current, FINDINGS.c.since.is_not(None))
                .where(FINDINGS.c.answer.in_([answer.value for answer in ASKED]))
                .order_by(FINDINGS.c.since, FINDINGS.c.finding)
            ).all()
            return tuple(
                OpenFinding(
                    finding=load_finding(row.body),
                    dataset=None if row.dataset is None else DatasetId(row.dataset),
                    since=row.since,
                )
                for row in rows
            )

    def waived(self) -> int:
        """Count the findings that are waived as they were last answered."""
        with self._reading() as connection:
            waived = (FINDINGS.c.current, FINDINGS.c.answer == Answer.WAIVED.value)
            return connection.execute(select(func.count()).select_from(FINDINGS).where(*waived)).scalar_one()

    def device_seen(self, names: Sequence[DeviceId], now: datetime) -> datetime | None:
        """Return when a device of these names last answered (None: it never did)."""
        return self._newest(DEVICE_FACTS.c.at, DEVICE_FACTS.c.device.in_(names), now)

    def drive_recorded(self, names: Sequence[DeviceId], now: datetime) -> datetime | None:
        """Return when a tree of a shelf drive was last recorded (None: none ever was)."""
        return self._newest(SHELF.c.at, SHELF.c.device.in_(names), now)

    def place_seen(self, places: Sequence[Address], now: datetime) -> datetime | None:
        """Return when what lies at one of these declared addresses was last seen: its tree, or its recovery points."""
        trees, points = (or_(*(lies_at(table, place, ()) for place in places)) for table in (MANIFESTS, POINTS))
        seen = (
            self._newest(MANIFESTS.c.started, and_(trees, MANIFESTS.c.trusted), now),
            self._newest(POINTS.c.at, points, now),
        )
        return max((at for at in seen if at is not None), default=None)

    def _newest(self, at: Column[datetime], which: ColumnElement[bool], now: datetime) -> datetime | None:
        """Return the newest of these instants; one that lies after `now` is of a clock that was wrong, and none."""
        with self._reading() as connection:
            return connection.execute(select(func.max(at)).where(which, at <= now)).scalar_one()

    def night_counts(self) -> NightCounts:
        """Count the nights that ended, and those that were missed; each once.

        A night that was begun and cut off counts as failed, though the next one says of it, too, that it had no audit.
        """
        with self._reading() as connection:
            rows = connection.execute(select(NIGHTS.c.night, NIGHTS.c.outcome, NIGHTS.c.missed)).all()
        noted = {date.fromisoformat(row.night) for row in rows}
        missed = {date.fromisoformat(row.night) - _DAY * back for row in rows for back in range(1, row.missed + 1)}
        ended = Counter(NightOutcome(row.outcome) for row in rows if row.outcome is not None)
        return NightCounts(ended=dict(ended), missed=len(missed - noted))

    def daemon(self) -> str | None:
        """Say which process runs as the daemon of the state folder, and since when (None: none does)."""
        return holder_of(self._folder.path, Lock.DAEMON)


def _last(query: Select[Any], now: datetime) -> Select[Any]:
    """Ask of the audit of all datasets that finished last until `now`."""
    ended = query.where(AUDITS.c.whole, AUDITS.c.finished <= now)
    return ended.order_by(AUDITS.c.finished.desc(), AUDITS.c.id.desc()).limit(1)

"""The nights of a ledger: what the daemon began, how it ended, what was missed. One row a local date.

A row that was begun and has not ended is a night whose news is not in the outbox yet: that night is audited again,
in the same row.
"""

from __future__ import annotations

from datetime import date, datetime
from typing import Any

from sqlalchemy import Connection, Row, func, insert, select, update

from coverage_audit.judgement.verdict import Conclusion
from coverage_audit.ledger.past_record import NightOutcome, NightRecord
from coverage_audit.ledger.tables import AUDITS
from coverage_audit.ledger.tables_of_nights import NIGHTS
from coverage_audit.ledger.transactions import Transactions


class NightBook(Transactions):
    """The nights of a ledger. Every method raises LedgerError."""

    def done(self) -> frozenset[date]:
        """Return the nights that have ended: audited, or given up."""
        with self._reading() as connection:
            ended = connection.scalars(select(NIGHTS.c.night).where(NIGHTS.c.finished.is_not(None)))
            return frozenset(date.fromisoformat(night) for night in ended)

    def begin(self, night: date, now: datetime, *, missed: int = 0, missed_since: date | None = None) -> None:
        """Begin a night, or begin it again. `missed` nights before it had no audit, the first on `missed_since`.

        One that has ended stays as it is. Earlier ones that were begun and never ended are given up. Only within
        `exclusive`.
        """
        since = None if missed_since is None else missed_since.isoformat()
        values = {"started": now, "missed": missed, "missed_since": since, "detail": None}
        with self._writing() as connection:
            _give_up_before(connection, night, now)
            known = _row(connection, night)
            if known is None:
                connection.execute(insert(NIGHTS).values(night=night.isoformat(), **values))
            elif known.finished is None:
                connection.execute(update(NIGHTS).where(NIGHTS.c.id == known.id).values(**values))

    def note(self, night: date, now: datetime, detail: str) -> None:
        """Note why an attempt at a night failed; the night has not ended."""
        with self._writing() as connection:
            known = _row(connection, night)
            if known is None:
                values = {"night": night.isoformat(), "started": now, "missed": 0, "detail": detail}
                connection.execute(insert(NIGHTS).values(**values))
            elif known.finished is None:
                connection.execute(update(NIGHTS).where(NIGHTS.c.id == known.id).values(detail=detail))

    def give_up(self, record: NightRecord) -> bool:
        """Note a night that ended without an audit, once: False where it had ended before.

        One that was begun keeps when that was.
        """
        night = record.night.isoformat()
        outcome = None if record.outcome is None else record.outcome.value
        ended = {"finished": record.finished, "outcome": outcome, "detail": record.detail or None}
        since = None if record.missed_since is None else record.missed_since.isoformat()
        with self._writing() as connection:
            if _row(connection, record.night) is None:
                connection.execute(insert(NIGHTS).values(night=night, started=record.started, missed=0))
            open_still = (NIGHTS.c.night == night, NIGHTS.c.finished.is_(None))
            if record.missed:
                missed = {"missed": record.missed, "missed_since": since}
                connection.execute(update(NIGHTS).where(*open_still).values(**missed))
            return connection.execute(update(NIGHTS).where(*open_still).values(**ended)).rowcount == 1

    def end(
        self,
        night: date,
        now: datetime,
        outcome: NightOutcome,
        detail: str = "",
        audit: int | None = None,
    ) -> bool:
        """End a night whose news is in the outbox, or one that is given up; `audit` is the number of its audit.

        A night ends once: where it had ended before, nothing is done and False returned. One that never began is noted
        as if it had begun now.
        """
        ended = {"finished": now, "outcome": outcome.value, "detail": detail or None, "audit": audit}
        with self._writing() as connection:
            known = _row(connection, night)
            if known is None:
                connection.execute(insert(NIGHTS).values(night=night.isoformat(), started=now, missed=0, **ended))
            elif known.finished is None:
                connection.execute(update(NIGHTS).where(NIGHTS.c.id == known.id).values(**ended))
            return known is None or known.finished is None

    def last(self) -> NightRecord | None:
        """Return the night that was noted last (None: there was none yet)."""
        with self._reading() as connection:
            row = connection.execute(select(NIGHTS).order_by(NIGHTS.c.id.desc()).limit(1)).first()
            return None if row is None else _record(row)

    def last_ended(self) -> NightRecord | None:
        """Return the night that was noted last of those that have ended (None: none has)."""
        ended = select(NIGHTS).where(NIGHTS.c.finished.is_not(None)).order_by(NIGHTS.c.id.desc()).limit(1)
        with self._reading() as connection:
            row = connection.execute(ended).first()
            return None if row is None else _record(row)

    def since(self, instant: datetime) -> tuple[NightRecord, ...]:
        """Return the nights that began after an instant, in the order in which they did."""
        with self._reading() as connection:
            rows = connection.execute(
                select(NIGHTS).where(NIGHTS.c.started > instant).order_by(NIGHTS.c.started, NIGHTS.c.id)
            ).all()
            return tuple(_record(row) for row in rows)

    def first_begun(self) -> datetime | None:
        """Return when the first night of all began (None: there was none yet)."""
        with self._reading() as connection:
            return connection.scalar(select(NIGHTS.c.started).order_by(NIGHTS.c.started).limit(1))

    def conclusion_of(self, night: date) -> Conclusion | None:
        """Return what the audit of a night concluded (None: it had none)."""
        with self._reading() as connection:
            said = connection.scalar(
                select(AUDITS.c.conclusion)
                .join(NIGHTS, NIGHTS.c.audit == AUDITS.c.id)
                .where(NIGHTS.c.night == night.isoformat())
            )
            return None if said is None else Conclusion(said)


def _give_up_before(connection: Connection, night: date, now: datetime) -> None:
    cut_off = func.coalesce(NIGHTS.c.detail, "it was cut off before it ended, and the next night came")
    connection.execute(
        update(NIGHTS)
        .where(NIGHTS.c.finished.is_(None), NIGHTS.c.night < night.isoformat())
        .values(finished=now, outcome=NightOutcome.FAILED.value, detail=cut_off)
    )


def _row(connection: Connection, night: date) -> Row[Any] | None:
    return connection.execute(select(NIGHTS).where(NIGHTS.c.night == night.isoformat())).first()


def _record(row: Row[Any]) -> NightRecord:
    return NightRecord(
        night=date.fromisoformat(row.night),
        started=row.started,
        finished=row.finished,
        outcome=None if row.outcome is None else NightOutcome(row.outcome),
        detail=row.detail or "",
        missed=row.missed,
        missed_since=None if row.missed_since is None else date.fromisoformat(row.missed_since),
    )

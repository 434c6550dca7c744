"""The past as the ledger kept it: a span of it under the names of today, and the newest audit as it was judged."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import datetime
from typing import Any
from zoneinfo import ZoneInfo

from sqlalchemy import Connection, Row, select

from coverage_audit.estate.former import NO_LINEAGE, Lineage
from coverage_audit.estate.model import VolumeKey
from coverage_audit.evidence.room import RoomHistory
from coverage_audit.judgement.verdict import Conclusion, JudgedEstate
from coverage_audit.ledger import events
from coverage_audit.ledger.judged_store import last_judged
from coverage_audit.ledger.night_book import NightBook
from coverage_audit.ledger.past_days import Span, dataset_days, volume_days
from coverage_audit.ledger.past_incidents import incidents
from coverage_audit.ledger.past_record import AuditDay, LastJudged, LookBack
from coverage_audit.ledger.past_rooms import room_histories
from coverage_audit.ledger.tables import AUDITS
from coverage_audit.ledger.transactions import Transactions


class Past(Transactions):
    """What a ledger kept of the past. Every method raises LedgerError."""

    def look_back(
        self, since: datetime, until: datetime, lineage: Lineage = NO_LINEAGE, *, daily: ZoneInfo | None = None
    ) -> LookBack:
        """Return what was after `since` until `until`, under the present names that `lineage` gives.

        `daily`: of several audits on one local date of this zone, each dataset and each volume is told of as the last
        of them saw it; for trends over years.
        """
        nights = NightBook(self._engine, self._where).since(since)
        with self._reading() as connection:
            span = _span(connection, since, until, daily)
            return LookBack(
                since=since,
                until=until,
                audits=span.audits,
                nights=tuple(night for night in nights if night.started <= until),
                datasets=dataset_days(connection, span, lineage),
                volumes=volume_days(connection, span, lineage),
                incidents=incidents(connection, since, until, lineage),
                events=events.since(connection, since, until),
            )

    def rooms(
        self, volumes: Iterable[VolumeKey], since: datetime, lineage: Lineage = NO_LINEAGE
    ) -> tuple[RoomHistory, ...]:
        """Return what was seen of each volume's room after `since`, each as far back as it is the volume of now."""
        with self._reading() as connection:
            return room_histories(connection, volumes, since, lineage)

    def audits(self) -> tuple[AuditDay, ...]:
        """Return all audits that there ever were, in the order of time."""
        with self._reading() as connection:
            rows = connection.execute(select(AUDITS).order_by(AUDITS.c.started, AUDITS.c.id))
            return tuple(_audit(row) for row in rows)

    def last_judged(self) -> LastJudged | None:
        """Return the newest audit of all datasets as it was judged (None: there was none)."""
        with self._reading() as connection:
            return last_judged(connection)

    def judged(self) -> JudgedEstate | None:
        """Return what the newest audit of all datasets judged (None: there is none, or it cannot be read back)."""
        last = self.last_judged()
        return None if last is None else last.judged


def _span(connection: Connection, since: datetime, until: datetime, daily: ZoneInfo | None) -> Span:
    rows = connection.execute(
        select(AUDITS)
        .where(AUDITS.c.started > since, AUDITS.c.started <= until)
        .order_by(AUDITS.c.started, AUDITS.c.id)
    ).all()
    return Span(
        since=since,
        until=until,
        audits=tuple(_audit(row) for row in rows),
        started={row.id: row.started for row in rows},
        zone=daily,
    )


def _audit(row: Row[Any]) -> AuditDay:
    return AuditDay(
        started=row.started,
        finished=row.finished,
        conclusion=Conclusion(row.conclusion),
        whole=row.whole,
        rehearsal=row.rehearsal,
    )

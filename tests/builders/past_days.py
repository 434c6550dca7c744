"""Days of the past, as a ledger tells of them."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

from coverage_audit.estate.model import DatasetId
from coverage_audit.judgement.verdict import Conclusion
from coverage_audit.ledger.past_record import AuditDay, DatasetDay
from coverage_audit.reports.days import Span


def an_audit(at: datetime, conclusion: Conclusion = Conclusion.CONFORMING, *, whole: bool = True) -> AuditDay:
    return AuditDay(started=at, finished=at + timedelta(minutes=9), conclusion=conclusion, whole=whole, rehearsal=False)


def a_day(at: datetime, conclusion: Conclusion = Conclusion.CONFORMING, name: str = "maps") -> DatasetDay:
    return DatasetDay(
        dataset=DatasetId(name),
        at=at,
        conclusion=conclusion,
        files=1,
        bytes=1,
        exposed_files=0,
        exposed_bytes=0,
        exposed_since=None,
    )


def at(day: int, hour: int = 4) -> datetime:
    return datetime(2026, 11, day, hour, 10, tzinfo=UTC)


SPAN = Span(first=date(2026, 11, 1), last=date(2026, 11, 8), zone=ZoneInfo("Europe/Dublin"))

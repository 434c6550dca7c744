"""How an auditor stands, made up: a good morning, of which a test changes what it is about."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

from coverage_audit.audits.status import DatasetStatus, Evidence, Kind, Status, Timetable
from coverage_audit.estate.model import DatasetId
from coverage_audit.judgement.verdict import Conclusion
from coverage_audit.ledger.outgoing import Queued
from coverage_audit.ledger.past_record import AuditDay, DatasetDay, NightOutcome, NightRecord
from coverage_audit.ledger.present_record import NightCounts
from tests.builders.outbox import a_message

NOW = datetime(2026, 11, 27, 9, 0, tzinfo=UTC)
NIGHT = datetime(2026, 11, 27, 4, 10, tzinfo=UTC)
HOUR = timedelta(hours=1)
DAY = timedelta(days=1)


def an_audit(finished: datetime = NIGHT + HOUR, conclusion: Conclusion = Conclusion.CONFORMING) -> AuditDay:
    return AuditDay(started=finished - HOUR, finished=finished, conclusion=conclusion, whole=True, rehearsal=False)


def a_dataset(
    name: str = "field-recordings", conclusion: Conclusion = Conclusion.CONFORMING, exposed: int | None = 0
) -> DatasetStatus:
    day = DatasetDay(
        dataset=DatasetId(name),
        at=NIGHT,
        conclusion=conclusion,
        files=12,
        bytes=3_400,
        exposed_files=None if exposed is None else 1,
        exposed_bytes=exposed,
        exposed_since=None,
    )
    return DatasetStatus(id=day.dataset, last=day)


def a_queued(target: str = "phone", waiting: timedelta = HOUR, *, error: str | None = None, tries: int = 3) -> Queued:
    return Queued(
        target=target,
        message=a_message(),
        created=NOW - waiting,
        not_before=NOW,
        tries=tries,
        last_try=NOW - HOUR if tries else None,
        last_error=error,
    )


def a_status(**changed: Any) -> Status:
    """A morning after a night in which all was well, but for what is `changed`."""
    good = Status(
        estate="Saltreach Field Station",
        zone=ZoneInfo("Europe/Dublin"),
        at=NOW,
        times=Timetable(expected=NIGHT - DAY, audit=NIGHT + DAY, summary=NIGHT + 3 * DAY),
        last=an_audit(),
        night=NightRecord(night=date(2026, 11, 27), started=NIGHT, finished=NIGHT + HOUR, outcome=NightOutcome.AUDITED),
        nights=NightCounts(ended={NightOutcome.AUDITED: 40, NightOutcome.FAILED: 1}, missed=2),
        daemon="process 812, since 2026-11-01 10:00:00 UTC",
        datasets=(a_dataset(),),
        failing=(),
        evidence=(
            Evidence(kind=Kind.DEVICE, name="kestrel", at=NIGHT),
            Evidence(kind=Kind.SHELF_DRIVE, name="shelf-b", at=None),
        ),
        targets=("phone", "mail"),
        undelivered=(),
        astray=(),
        waivers=(),
    )
    return replace(good, **changed)

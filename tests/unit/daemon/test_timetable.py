from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, time, timedelta

from coverage_audit.audits.status import GRACE
from coverage_audit.daemon.timetable import timetable
from coverage_audit.estate.model import Estate, Schedule
from tests.builders.outbox import an_estate


def scheduled(audit: time | None = time(4, 10), summary: tuple[str, time] | None = None) -> Estate:
    return replace(an_estate(), schedule=Schedule(audit=audit, summary=summary))


def utc(day: int, hour: int, minute: int = 0, month: int = 11) -> datetime:
    return datetime(2026, month, day, hour, minute, tzinfo=UTC)


def test_an_audit_is_expected_from_its_time_and_the_grace_on() -> None:
    estate = scheduled()
    assert timetable(estate, utc(27, 12, 9)).expected == utc(26, 4, 10)
    assert timetable(estate, utc(27, 12, 10)).expected == utc(27, 4, 10)


def test_what_comes_next_is_said_in_the_estates_zone() -> None:
    # Dublin is an hour ahead of UTC until 2026-10-25, 01:00 UTC (IANA time zone database).
    times = timetable(scheduled(summary=("Mon", time(7))), utc(24, 12, month=10))
    assert times.audit == utc(25, 4, 10, month=10)
    assert times.summary == utc(26, 7, month=10)
    assert timetable(scheduled(), utc(23, 12, month=10)).audit == utc(24, 3, 10, month=10)


def test_without_a_weekly_page_none_is_announced() -> None:
    assert timetable(scheduled(), utc(27, 12)).summary is None


def test_where_no_time_is_declared_an_audit_is_expected_each_day_all_the_same() -> None:
    times = timetable(scheduled(audit=None), utc(27, 12))
    assert times.expected == utc(27, 12) - GRACE - timedelta(days=1)
    assert times.audit is None

"""Reminders, waits and quiet hours: what must be so for every calendar and every clock."""

from __future__ import annotations

from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo

from hypothesis import given
from hypothesis import strategies as st

from coverage_audit.notices.quiet import is_quiet, quiet_until
from coverage_audit.notices.reminding import is_due, steps
from coverage_audit.notices.retrying import FIRST, LONGEST, wait_after

ZONES = ["Europe/Dublin", "America/St_Johns", "Australia/Lord_Howe", "Asia/Kathmandu", "Pacific/Apia", "UTC"]
BEGUN = date(2026, 11, 1)

days = st.integers(min_value=0, max_value=1500)
times = st.times().map(lambda one: one.replace(second=0, microsecond=0))
spans = st.tuples(times, times).filter(lambda hours: hours[0] != hours[1])
instants = st.datetimes(datetime(2011, 1, 1), datetime(2040, 1, 1), timezones=st.just(UTC))  # noqa: DTZ001 - gets its zone


def reminded(audits: list[int]) -> list[int]:
    """On which of these days (since it began, and was told) a finding is told again."""
    told, said = 0, []
    for day in audits:
        if is_due(BEGUN, BEGUN + timedelta(days=told), BEGUN + timedelta(days=day)):
            said.append(day)
            told = day
    return said


def test_a_finding_that_lasts_is_told_after_1_3_7_14_30_days_and_every_30_then() -> None:
    assert reminded(list(range(200))) == [1, 3, 7, 14, 30, 60, 90, 120, 150, 180]


@given(st.sets(days))
def test_reminders_grow_rarer_whatever_nights_were_missed_and_none_comes_twice(audits: set[int]) -> None:
    nights = sorted(audits)
    said = reminded(nights)
    assert len(said) == len({steps(day) for day in nights} - {0})
    assert [steps(day) for day in said] == sorted({steps(day) for day in said})


@given(days, days)
def test_a_clock_that_went_back_a_day_brings_no_reminder_and_one_that_was_days_ahead_silences_none(
    told: int, today: int
) -> None:
    due = is_due(BEGUN, BEGUN + timedelta(days=told), BEGUN + timedelta(days=today))
    if today <= told:
        assert due is (told - today > 1)


@given(st.integers(min_value=1, max_value=10**9))
def test_waits_double_up_to_a_longest_one_and_never_end(tries: int) -> None:
    wait, following = wait_after(tries), wait_after(tries + 1)
    assert FIRST <= wait <= LONGEST
    assert following == min(LONGEST, 2 * wait)
    assert wait_after(1) == FIRST


@given(instants, spans, st.sampled_from(ZONES))
def test_quiet_ends_at_the_first_minute_that_is_not_quiet(now: datetime, hours: tuple[time, time], zone: str) -> None:
    local = ZoneInfo(zone)
    until = quiet_until(now, hours, local)
    if until is None:
        assert not is_quiet(now, hours, local)
        return
    assert now < until <= now + timedelta(hours=26)
    assert not is_quiet(until, hours, local)
    assert is_quiet(until - timedelta(minutes=1), hours, local) or until - timedelta(minutes=1) <= now


@given(instants, spans, st.sampled_from(ZONES))
def test_every_moment_is_quiet_in_a_span_or_in_its_complement(
    now: datetime, hours: tuple[time, time], zone: str
) -> None:
    assert is_quiet(now, hours, ZoneInfo(zone)) != is_quiet(now, (hours[1], hours[0]), ZoneInfo(zone))

"""Clock changes are those of the IANA time zone database (package tzdata)."""

from __future__ import annotations

import random
from collections.abc import Iterator
from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo

import pytest

from coverage_audit.daemon.due import Night, audit_due, instant_of, next_audit, next_summary, summary_due

DUBLIN = ZoneInfo("Europe/Dublin")
ZONES = ["Europe/Dublin", "Etc/UTC", "America/New_York", "Australia/Lord_Howe", "Asia/Kathmandu", "America/Santiago"]
TIMES = [time(4, 10), time(1, 30), time(2, 30), time(0, 0), time(23, 59)]
MINUTE = timedelta(minutes=1)


def utc(year: int, month: int, day: int, hour: int = 0, minute: int = 0) -> datetime:
    return datetime(year, month, day, hour, minute, tzinfo=UTC)


def test_the_first_audit_is_due_at_once() -> None:
    assert audit_due(utc(2026, 7, 1, 12), frozenset(), time(4, 10), DUBLIN) == Night(of=date(2026, 7, 1))


def test_a_night_is_due_from_its_minute_on_until_it_was_audited() -> None:
    done = frozenset({date(2026, 6, 30)})
    assert audit_due(utc(2026, 7, 1, 3, 9), done, time(4, 10), DUBLIN) is None
    assert audit_due(utc(2026, 7, 1, 3, 10), done, time(4, 10), DUBLIN) == Night(of=date(2026, 7, 1))
    assert audit_due(utc(2026, 7, 1, 3, 10), done | {date(2026, 7, 1)}, time(4, 10), DUBLIN) is None


def test_nights_that_were_missed_are_counted_and_caught_up_by_one_audit() -> None:
    done = frozenset({date(2026, 6, 27)})
    night = Night(of=date(2026, 7, 1), missed=3, missed_since=date(2026, 6, 28))
    assert audit_due(utc(2026, 7, 1, 9), done, time(4, 10), DUBLIN) == night
    assert audit_due(utc(2026, 7, 1, 9, 1), done | {night.of}, time(4, 10), DUBLIN) is None


def test_a_clock_set_back_by_a_day_repeats_no_night() -> None:
    done = frozenset({date(2026, 6, 30), date(2026, 7, 1)})
    assert audit_due(utc(2026, 6, 30, 9), done, time(4, 10), DUBLIN) is None
    assert audit_due(utc(2026, 7, 1, 9), done, time(4, 10), DUBLIN) is None
    assert audit_due(utc(2026, 7, 2, 9), done, time(4, 10), DUBLIN) == Night(of=date(2026, 7, 2))


def test_a_clock_that_was_years_ahead_does_not_silence_the_nights_before() -> None:
    done = frozenset({date(2026, 6, 30), date(2036, 7, 1)})
    assert audit_due(utc(2026, 7, 1, 9), done, time(4, 10), DUBLIN) == Night(of=date(2026, 7, 1))


def test_the_hour_that_is_repeated_in_autumn_has_one_audit() -> None:
    # Dublin, 2026-10-25: 02:00 summer time is followed by 01:00 winter time; 01:30 comes at 00:30 and at 01:30 UTC.
    done = frozenset({date(2026, 10, 24)})
    assert audit_due(utc(2026, 10, 25, 0, 29), done, time(1, 30), DUBLIN) is None
    assert audit_due(utc(2026, 10, 25, 0, 30), done, time(1, 30), DUBLIN) == Night(of=date(2026, 10, 25))
    assert audit_due(utc(2026, 10, 25, 1, 30), done | {date(2026, 10, 25)}, time(1, 30), DUBLIN) is None


def test_the_hour_that_is_left_out_in_spring_has_its_audit_behind_the_gap() -> None:
    # Dublin, 2027-03-28: 01:00 winter time is followed by 02:00 summer time (at 01:00 UTC).
    assert instant_of(date(2027, 3, 28), time(1, 30), DUBLIN) == utc(2027, 3, 28, 1, 30)
    done = frozenset({date(2027, 3, 27)})
    assert audit_due(utc(2027, 3, 28, 0, 59), done, time(1, 30), DUBLIN) is None
    assert audit_due(utc(2027, 3, 28, 1, 30), done, time(1, 30), DUBLIN) == Night(of=date(2027, 3, 28))


def test_a_date_that_a_zone_left_out_costs_nothing() -> None:
    # Samoa moved across the date line: 2011-12-29 was followed by 2011-12-31 (tzdata, Pacific/Apia).
    apia = ZoneInfo("Pacific/Apia")
    nights = [night.of for _, night in _nights(utc(2011, 12, 27), utc(2012, 1, 3), time(4, 10), apia, MINUTE * 30)]
    assert len(nights) == len(set(nights))
    assert {date(2011, 12, 29), date(2011, 12, 31), date(2012, 1, 1)} <= set(nights)


def test_the_next_audit_and_page_are_told() -> None:
    now = utc(2026, 7, 1, 12)
    assert next_audit(now, time(4, 10), DUBLIN) == utc(2026, 7, 2, 3, 10)
    assert next_audit(utc(2026, 7, 1, 3, 9), time(4, 10), DUBLIN) == utc(2026, 7, 1, 3, 10)
    assert next_summary(now, ("Mon", time(7)), DUBLIN) == utc(2026, 7, 6, 6)
    assert next_summary(utc(2026, 7, 6, 5, 59), ("Mon", time(7)), DUBLIN) == utc(2026, 7, 6, 6)
    assert next_summary(utc(2026, 7, 6, 6), ("Mon", time(7)), DUBLIN) == utc(2026, 7, 13, 6)


def test_no_page_is_due_for_the_time_before_the_daemon_was_started() -> None:
    on, since = ("Mon", time(7)), utc(2026, 7, 1, 12)
    assert summary_due(utc(2026, 7, 5, 12), frozenset(), on, DUBLIN, since=since) is None
    assert summary_due(utc(2026, 7, 6, 6), frozenset(), on, DUBLIN, since=since) == date(2026, 7, 6)
    assert summary_due(utc(2026, 7, 29), frozenset({date(2026, 7, 6)}), on, DUBLIN, since=since) == date(2026, 7, 27)


@pytest.mark.parametrize("at", TIMES, ids=str)
@pytest.mark.parametrize("zone", ZONES)
def test_over_three_years_every_local_date_has_exactly_one_audit(zone: str, at: time) -> None:
    begin, end = utc(2027, 12, 20, 12), utc(2031, 1, 5, 12)  # with the leap day of 2028
    told = list(_nights(begin, end, at, ZoneInfo(zone), timedelta(minutes=10)))
    nights = [night.of for _, night in told]
    assert nights == [nights[0] + timedelta(days=number) for number in range(len(nights))]
    assert date(2028, 2, 29) in nights
    assert all(night.missed == 0 for _, night in told)
    assert nights[-1] - nights[0] >= timedelta(days=1110)
    for moment, night in told[1:]:
        assert timedelta(0) <= moment - instant_of(night.of, at, ZoneInfo(zone)) < timedelta(minutes=10)


@pytest.mark.parametrize("zone", ZONES)
def test_over_years_of_sleep_reboots_and_steps_of_the_clock_no_night_is_audited_twice_and_all_are_told(
    zone: str,
) -> None:
    chance, place = random.Random(zone), ZoneInfo(zone)
    done: set[date] = set()
    pages: set[date] = set()
    told_missed: set[date] = set()
    since = now = utc(2027, 1, 1, 12)
    while now < utc(2030, 1, 1):
        night = audit_due(now, done, time(2, 30), place)
        if night is not None:
            assert night.of not in done
            gap = {night.of - timedelta(days=back) for back in range(1, night.missed + 1)}
            assert done.isdisjoint(gap)
            told_missed |= gap
            done.add(night.of)
        page = summary_due(now, pages, ("Mon", time(7)), place, since=since)
        if page is not None:
            assert page.weekday() == 0
            pages.add(page)
        step = chance.choices([7, 60, 60 * 24 * 3, -90, -60 * 30], [2000, 200, 4, 20, 4])[0]
        now += timedelta(minutes=step)
    every = {min(done) + timedelta(days=number) for number in range((max(done) - min(done)).days + 1)}
    assert every - done <= told_missed
    assert told_missed - done  # nights were missed at all
    weeks = {day for day in every if day.weekday() == 0 and instant_of(day, time(7), place) >= since}
    assert weeks - pages <= {max(weeks)}  # no sleep was as long as a week


def _nights(
    begin: datetime, end: datetime, at: time, zone: ZoneInfo, tick: timedelta
) -> Iterator[tuple[datetime, Night]]:
    done: set[date] = set()
    now = begin
    while now < end:
        night = audit_due(now, done, at, zone)
        if night is not None:
            assert night.of not in done
            done.add(night.of)
            yield now, night
        now += tick

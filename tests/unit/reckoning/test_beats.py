"""The rhythm of points: against a model that lists local days one by one, across clock changes and quiet weekdays."""

from __future__ import annotations

from datetime import UTC, date, datetime, time, timedelta
from itertools import pairwise
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from coverage_audit.reckoning.beats import Beats, beats, bunched, learned, missed

DUBLIN = ZoneInfo("Europe/Dublin")
DAY, HOUR = timedelta(days=1), timedelta(hours=1)
ZONES = st.sampled_from(
    ["Europe/Dublin", "America/St_Johns", "Asia/Kathmandu", "Pacific/Apia", "Australia/Lord_Howe"]
).map(ZoneInfo)


def every(span: timedelta, zone: ZoneInfo = DUBLIN, *, quiet: str = "", tolerance: timedelta | None = None) -> Beats:
    days = frozenset(("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun").index(day) for day in quiet.split())
    return beats(span, zone, monthly=False, quiet=days, tolerance=tolerance)


def local(text: str, zone: ZoneInfo = DUBLIN) -> datetime:
    """An instant by local clocks."""
    return datetime.fromisoformat(text).replace(tzinfo=zone).astimezone(UTC)


def gaps(points: list[datetime], rhythm: Beats, now: datetime, since: datetime = datetime.min) -> list[str]:  # noqa: DTZ901
    """The local days of the beats missed."""
    found = missed(points, rhythm, since=since.replace(tzinfo=UTC), now=now)
    return [beat.astimezone(rhythm.zone).date().isoformat() for beat in found]


@pytest.mark.parametrize("change", ["2026-03-29", "2026-10-25"])
def test_a_nightly_point_keeps_its_rhythm_over_a_clock_change(change: str) -> None:
    # Dublin's clocks go on on the last Sunday of March, back on the last of October (tz database, Europe/Dublin).
    day = date.fromisoformat(change)
    nights = [local(f"{day + number * DAY}T00:30") for number in range(-3, 4)]
    strict = every(DAY, tolerance=timedelta(minutes=1))

    assert {later - earlier for earlier, later in pairwise(nights)} > {DAY}
    assert gaps(nights, strict, now=nights[-1]) == []
    assert [strict.next_after(night) for night in nights[:-1]] == nights[1:]


def test_a_point_every_six_hours_counts_them_in_absolute_time() -> None:
    points = [local("2026-10-24T18:00") + number * 6 * HOUR for number in range(6)]

    assert gaps(points, every(6 * HOUR, tolerance=timedelta(0)), now=points[-1]) == []


def test_a_beat_in_the_hour_that_is_left_out_falls_after_it() -> None:
    # 01:30 is no time of 29 March 2026 in Dublin.
    assert every(DAY).next_after(local("2026-03-28T01:30")) == local("2026-03-29T02:30")


def test_nights_without_a_point_are_named_and_one_that_is_only_late_is_not() -> None:
    points = [local(f"2026-11-{day}T02:00") for day in ("10", "11", "14")] + [local("2026-11-15T07:00")]

    assert gaps(points, every(DAY), now=local("2026-11-15T12:00")) == ["2026-11-12", "2026-11-13"]
    assert gaps(points, every(DAY, tolerance=HOUR), now=local("2026-11-15T12:00"))[-1] == "2026-11-15"


def test_what_is_due_and_not_late_yet_is_not_missed() -> None:
    points = [local("2026-11-10T02:00")]

    assert gaps(points, every(DAY), now=local("2026-11-11T07:59")) == []
    assert gaps(points, every(DAY), now=local("2026-11-11T08:01")) == ["2026-11-11"]


def test_on_quiet_weekdays_none_is_due() -> None:
    friday, monday = local("2026-11-20T02:00"), local("2026-11-23T02:00")
    rhythm = every(DAY, quiet="Sat Sun")

    assert rhythm.next_after(friday) == monday
    assert gaps([friday], rhythm, now=local("2026-11-23T07:00")) == []
    assert gaps([friday], rhythm, now=local("2026-11-23T09:00")) == ["2026-11-23"]


def test_short_beats_pause_on_quiet_weekdays_and_begin_with_the_day_after() -> None:
    rhythm = every(HOUR, quiet="Sat Sun")

    assert rhythm.next_after(local("2026-11-20T23:30")) == local("2026-11-23T01:00")
    assert rhythm.next_after(local("2026-11-20T21:30")) == local("2026-11-20T22:30")


def test_a_monthly_point_of_the_thirty_first_comes_on_the_last_day() -> None:
    rhythm = beats(DAY, DUBLIN, monthly=True, quiet=frozenset(), tolerance=None)

    assert rhythm.next_after(local("2027-01-31T02:00")) == local("2027-02-28T02:00")
    assert rhythm.next_after(local("2026-12-05T02:00")) == local("2027-01-05T02:00")


@given(
    st.dates(date(2000, 1, 1), date(2035, 1, 1)),
    st.sets(st.integers(0, 59)),
    st.sets(st.integers(0, 6), max_size=6),
    st.integers(4, 23),
    ZONES,
)
def test_nights_missed_are_those_that_a_calendar_shows(
    first: date, nights: set[int], quiet: set[int], hour: int, zone: ZoneInfo
) -> None:
    """The model: go through the local days one by one, and note each that is not quiet and has no point."""
    days = [first + number * DAY for number in range(61)]
    came = [day for number, day in enumerate(days) if number in {0, *nights}]
    points = [datetime.combine(day, time(hour), zone).astimezone(UTC) for day in came]
    now = datetime.combine(days[-1], time(hour), zone).astimezone(UTC)
    rhythm = beats(DAY, zone, monthly=False, quiet=frozenset(quiet), tolerance=timedelta(hours=3))
    expected = [
        day.isoformat() for day in days[1:-1] if day not in came and day.weekday() not in quiet and day > came[0]
    ]

    assert gaps(points, rhythm, now=now) == [day for day in expected if _exists(day, hour, zone)]


def _exists(day: str, hour: int, zone: ZoneInfo) -> bool:
    """Whether a local time is one: Apia left out 30 December 2011 as a whole (tz database, Pacific/Apia)."""
    at = datetime.combine(date.fromisoformat(day), time(hour), zone)
    return at.astimezone(UTC).astimezone(zone).replace(tzinfo=None) == at.replace(tzinfo=None)


def test_a_long_gap_of_short_beats_is_not_walked_through() -> None:
    points = [local("1996-11-10T02:00")]
    since = local("2026-11-10T01:30")
    found = list(missed(points, every(timedelta(minutes=1)), since=since, now=since + timedelta(minutes=10)))

    assert len(found) in {9, 10, 11}


def test_points_that_bunch_up_are_counted() -> None:
    points = [local(f"2026-11-12T{hour}") for hour in ("02:00", "02:10", "02:20", "09:00")]
    points.append(local("2026-11-13T09:00"))

    assert bunched(points, every(DAY), since=points[0]) == 3
    assert bunched(points, every(DAY), since=points[-1]) == 0


def test_a_rhythm_is_learned_from_eight_intervals_and_not_from_seven() -> None:
    nights = [local(f"2026-11-{day:02}T02:00") for day in range(10, 19)]

    found = learned(nights, DUBLIN)
    assert found is not None
    assert (found.every, found.tolerance, found.quiet) == (DAY, 6 * HOUR, frozenset())
    assert learned(nights[1:], DUBLIN) is None


def test_what_comes_at_changing_hours_is_daily_and_a_missing_night_does_not_change_it() -> None:
    nights = [local(f"2026-11-{day:02}T02:{day:02}") for day in range(1, 20) if day not in {7, 8, 15}]

    found = learned(nights, DUBLIN)
    assert found is not None
    assert found.every == DAY


def test_weekends_without_points_are_learned_in_three_weeks() -> None:
    days = [date(2026, 11, 2) + number * DAY for number in range(26)]
    working = [local(f"{day}T02:00") for day in days if day.weekday() < 5]

    found = learned(working, DUBLIN)
    assert found is not None
    assert (found.every, found.quiet) == (DAY, frozenset({5, 6}))
    soon = learned(working[:12], DUBLIN)
    assert soon is not None
    assert soon.quiet == frozenset()


def test_an_hourly_rhythm_is_no_matter_of_days() -> None:
    hours = [local("2026-11-10T00:00") + number * HOUR for number in range(12)]

    found = learned(hours, DUBLIN)
    assert found is not None
    assert (found.every, found.by_days) == (HOUR, False)

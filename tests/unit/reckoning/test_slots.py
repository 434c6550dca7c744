"""Slots of kept points against a calendar counted day by day, over years and zones."""

from __future__ import annotations

from calendar import Calendar
from datetime import UTC, date, datetime, timedelta
from itertools import pairwise
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from coverage_audit.reckoning.slots import Slot, Span, empty_slots, last_whole, slot_of

_DAYS = st.dates(date(1999, 1, 1), date(2040, 12, 31))
_SPANS = st.sampled_from(Span)
_ZONES = st.sampled_from(["Europe/Dublin", "Pacific/Apia", "America/St_Johns", "Asia/Kathmandu", "UTC"]).map(ZoneInfo)


def _name(day: date, span: Span) -> str:
    """Name the slot of a day in another way than the code does (strftime: C standard, ISO 8601 weeks)."""
    return day.strftime({Span.DAY: "%Y-%m-%d", Span.WEEK: "%G-W%V", Span.MONTH: "%Y-%m", Span.YEAR: "%Y"}[span])


@given(_DAYS, _SPANS)
def test_a_slot_holds_the_days_of_its_name_and_no_other(day: date, span: Span) -> None:
    slot = slot_of(day, span)
    reach = timedelta(days=400)
    same = [other for other in _each_day(day - reach, day + reach) if _name(other, span) == _name(day, span)]

    assert (slot.first, slot.after) == (same[0], same[-1] + timedelta(days=1))
    assert str(slot) == _name(day, span)


@given(_DAYS, _SPANS, st.integers(0, 30))
def test_the_last_whole_slots_adjoin_each_other_and_end_before_todays(today: date, span: Span, count: int) -> None:
    slots = last_whole(span, count, today)

    assert len(slots) == count
    assert all(newer.first == older.after for newer, older in pairwise((slot_of(today, span), *slots)))


@given(st.lists(st.datetimes(datetime(2019, 1, 1), datetime(2026, 1, 1)), max_size=60), _DAYS, _SPANS, _ZONES)  # noqa: DTZ001
def test_empty_are_the_slots_whose_days_saw_no_point_by_local_clocks(
    times: list[datetime], today: date, span: Span, zone: ZoneInfo
) -> None:
    points = [time.replace(tzinfo=UTC) for time in times]
    slots = last_whole(span, 12, min(today, date(2026, 6, 1)))
    seen = {point.astimezone(zone).date() for point in points}

    by_day = [slot for slot in slots if not any(day in seen for day in _each_day(slot.first, slot.after))]

    assert list(empty_slots(slots, points, zone)) == by_day


@pytest.mark.parametrize("month", range(1, 13))
def test_months_have_the_days_that_the_calendar_prints(month: int) -> None:
    printed = [day for day in Calendar().itermonthdates(2024, month) if day.month == month]

    assert slot_of(printed[-1], Span.MONTH) == Slot(
        span=Span.MONTH, first=printed[0], after=printed[-1] + timedelta(days=1)
    )


def test_a_point_at_half_past_eleven_at_night_counts_for_its_local_day() -> None:
    """In summer 23:30 in Dublin is 22:30 UTC of the same day; at 00:30 the UTC day is still the one before."""
    dublin = ZoneInfo("Europe/Dublin")
    slots = last_whole(Span.DAY, 2, date(2026, 7, 3))

    points = [datetime(2026, 7, 1, 23, 30, tzinfo=UTC)]

    assert [str(slot) for slot in empty_slots(slots, points, dublin)] == ["2026-07-01"]


@given(st.integers(0, 11))
def test_a_pruned_month_is_found_on_the_day_it_happens(which: int) -> None:
    dublin = ZoneInfo("Europe/Dublin")
    today = date(2026, 11, 27)
    kept = {
        slot: datetime.combine(slot.first, datetime.min.time(), dublin) for slot in last_whole(Span.MONTH, 12, today)
    }
    assert empty_slots(kept, list(kept.values()), dublin) == ()

    pruned = list(kept)[which]

    assert empty_slots(kept, [point for slot, point in kept.items() if slot is not pruned], dublin) == (pruned,)


def _each_day(first: date, after: date) -> list[date]:
    return [first + timedelta(days=offset) for offset in range((after - first).days)]

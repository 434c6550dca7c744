"""The fallback chart's geometry."""

from __future__ import annotations

import itertools
from datetime import timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from coverage_audit.judgement.verdict import Standing
from coverage_audit.reports.chart import BOUND, FAR_END, HOUR_AT, NOW_AT, YEAR_AT, chart_row, position, ticks
from tests.builders.judged import NOW, a_copy, a_dataset, address, an_estate

AGES = st.timedeltas(timedelta(0), timedelta(days=36_500))
ESTATE = an_estate()
LIMIT = timedelta(hours=26)


def test_now_is_right_and_a_year_is_left() -> None:
    assert position(timedelta(0)) == NOW_AT
    assert position(timedelta(hours=1)) == HOUR_AT
    assert position(timedelta(days=365)) == YEAR_AT


def test_equal_ratios_are_equal_distances() -> None:
    one, ten, hundred = (position(timedelta(hours=hours)) for hours in (2, 20, 200))
    assert one - ten == pytest.approx(ten - hundred, abs=0.02)


@given(AGES, AGES)
def test_the_older_never_stands_right_of_the_younger(one: timedelta, other: timedelta) -> None:
    younger, older = sorted((one, other))
    assert position(older) <= position(younger)


@given(AGES)
def test_whatever_has_a_point_stands_clear_of_the_far_end(age: timedelta) -> None:
    assert FAR_END < BOUND < position(age) <= NOW_AT


def test_a_point_ahead_of_now_stands_at_now() -> None:
    assert position(timedelta(hours=-3)) == NOW_AT


def test_the_scale_runs_left_from_now_in_order() -> None:
    marks = ticks()
    assert [tick.word for tick in marks] == ["now", "hour", "day", "week", "month", "year"]
    assert all(right.at > left.at for right, left in itertools.pairwise(marks))


def test_each_copy_has_a_mark_at_its_point_the_freshest_first() -> None:
    dataset = a_dataset(
        "maps",
        (
            a_copy(ESTATE, address("shelf-b", "maps"), age=None, standing=Standing.UNVERIFIED),
            a_copy(ESTATE, address("curlew", "maps"), age=timedelta(days=11), standing=Standing.STALE),
            a_copy(ESTATE, address("heron", "maps"), age=timedelta(hours=3)),
        ),
    )
    row = chart_row(dataset, (timedelta(days=35), LIMIT, LIMIT), ("Long Barn", "Long Barn", "Field station"), NOW)
    assert [(mark.place, mark.span) for mark in row.marks] == [
        ("heron:pool", "3 h"),
        ("curlew:store", "11 days"),
        ("shelf-b:drive", None),
    ]
    assert row.marks[2].at == FAR_END
    assert row.marks[1].at < row.marks[1].limit < row.marks[0].at
    assert row.marks[2].limit == position(timedelta(days=35))

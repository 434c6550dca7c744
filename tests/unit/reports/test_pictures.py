"""Days as SVG paths."""

from __future__ import annotations

import re
from collections.abc import Sequence
from datetime import date
from itertools import pairwise
from zoneinfo import ZoneInfo

from hypothesis import given
from hypothesis import strategies as st

from coverage_audit.reports.days import DayState, Span
from coverage_audit.reports.pictures import HIGH, by_month, line, months, strip

SPAN = Span(first=date(2025, 12, 15), last=date(2026, 3, 2), zone=ZoneInfo("UTC"))
BLOCK = re.compile(r"M(\d+) (\d+)h(\d+)v(\d+)h-\3z")


def days_of(path: str) -> list[int]:
    """Which days a path covers."""
    return [day for begin, _, length, _ in BLOCK.findall(path) for day in range(int(begin), int(begin) + int(length))]


@given(st.lists(st.sampled_from(DayState), max_size=60))
def test_every_day_is_drawn_once_and_as_what_it_was(states: Sequence[DayState]) -> None:
    drawn = strip(states)
    assert drawn.width == len(states)
    for state, path in drawn.blocks:
        assert BLOCK.sub("", path) == ""
        assert days_of(path) == [number for number, each in enumerate(states) if each is state]
    assert {state for state, _ in drawn.blocks} == set(states) - {DayState.BEFORE}


def test_states_differ_in_height_or_place_and_not_in_colour_alone() -> None:
    shapes = {BLOCK.findall(path)[0][1::2] for _, path in strip(tuple(DayState)).blocks}
    assert len(shapes) == 4


@given(st.lists(st.none() | st.integers(min_value=0, max_value=2**60), min_size=1, max_size=60))
def test_a_figure_is_drawn_in_proportion_and_what_is_not_known_is_not_drawn_as_nothing(
    values: Sequence[int | None],
) -> None:
    drawn = line(values)
    known = [value for value in values if value is not None]
    heights = [0] * len(values)
    for begin, height, length in re.findall(rf"M(\d+) {HIGH}v-(\d+)h(\d+)v\d+z", drawn.area):
        for day in range(int(begin), int(begin) + int(length)):
            heights[day] = int(height)
    assert days_of(drawn.unknown) == [number for number, value in enumerate(values) if value is None]
    pairs = sorted((value, heights[number]) for number, value in enumerate(values) if value is not None)
    assert all(low[1] <= high[1] for low, high in pairwise(pairs))
    assert all((value > 0) == (height > 0) for value, height in pairs)
    assert max(heights) <= HIGH
    if any(known):
        assert max(heights) >= HIGH - 7


def test_months_begin_where_they_begin() -> None:
    found = months(SPAN)
    assert [(tick.day, tick.word) for tick in found] == [(17, "Jan"), (48, "Feb"), (76, "Mar")]
    assert found[0].at == round(100 * 17 / 78, 2)


def test_days_are_parted_by_months() -> None:
    parts = dict(by_month(SPAN.all()))
    assert list(parts) == ["Dec 2025", "Jan 2026", "Feb 2026", "Mar 2026"]
    assert [len(numbers) for numbers in parts.values()] == [17, 31, 28, 2]
    assert [number for numbers in parts.values() for number in numbers] == list(range(78))

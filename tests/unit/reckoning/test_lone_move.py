"""One large move where weeks cannot show it: it is found, and what grows is not taken for it."""

from __future__ import annotations

import random

import pytest
from hypothesis import given
from hypothesis import strategies as st

from coverage_audit.reckoning.lone_move import lone_move


def flat(days: int, noise: float = 1.0, seed: int = 0) -> list[float]:
    chance = random.Random(seed)
    return [1000 + chance.uniform(-noise, noise) for _ in range(days)]


@given(st.integers(6, 19), st.integers(1, 18), st.sampled_from([-500.0, 500.0]), st.integers(0, 99))
def test_a_large_move_is_found_wherever_it_lies_in_a_short_series(days: int, at: int, size: float, seed: int) -> None:
    at = min(at, days - 1)
    values = [value + size * (day >= at) for day, value in enumerate(flat(days, seed=seed))]
    assert at in lone_move(values)


@pytest.mark.parametrize("at", [1, 5, 54, 59])
def test_a_large_move_is_found_at_the_ends_of_a_long_series(at: int) -> None:
    values = [value + 500 * (day >= at) for day, value in enumerate(flat(60))]
    assert at in lone_move(values)


def test_what_lies_between_the_ends_of_a_long_series_is_left_to_its_weeks() -> None:
    values = [value + 500 * (day >= 30) for day, value in enumerate(flat(60))]
    assert lone_move(values) == ()


def test_a_move_that_took_two_nights_is_one() -> None:
    values = [value + 250 * (day >= 6) + 260 * (day >= 7) for day, value in enumerate(flat(12))]
    assert set(lone_move(values)) >= {6, 7}


def test_a_move_of_yesterday_is_found_beside_one_of_the_spring() -> None:
    values = [value + 900 * (day >= 40) + 500 * (day >= 98) for day, value in enumerate(flat(100))]
    assert lone_move(values, (40,)) == (98,)


@pytest.mark.parametrize("days", [5, 9, 19, 60])
def test_steady_growth_and_weekly_bursts_hold_no_move(days: int) -> None:
    assert lone_move([10.0 * day for day in range(days)]) == ()
    weekly = [100.0 * ((day + 4) // 7) for day in range(max(days, 19))]
    assert lone_move(weekly) == ()


def test_nothing_and_one_value_hold_none() -> None:
    assert (lone_move([]), lone_move([1.0])) == ((), ())

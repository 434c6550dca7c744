"""Trends against Sen's own example, NIST's reference data and SciPy."""

from __future__ import annotations

import random
from importlib.resources import files

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import theilslopes

from coverage_audit.reckoning.trend import LEAST, moves_of, trend

_SEN_X = (1, 2, 3, 4, 10, 12, 18)
_SEN_Y = (9, 15, 19, 20, 45, 55, 78)


def test_sens_example_of_1968_has_the_slope_and_the_interval_that_he_gives() -> None:
    found = trend(_SEN_X, _SEN_Y, confidence=0.93)

    assert found is not None
    assert found.slope == 4
    assert (round(found.low, 2), round(found.high, 2)) == (3.71, 4.38)


def test_nists_norris_data_have_their_certified_slope_within_the_interval() -> None:
    """Hold it against NIST StRD "Norris" (certified least-squares slope 1.00211681802045), as SciPy ships it."""
    text = files("scipy.stats").joinpath("tests/data/nist_linregress/Norris.dat").read_text()
    pairs = sorted((float(x), float(y)) for y, x in (line.split() for line in text.splitlines()[60:96]))
    xs, ys = zip(
        *[pair for place, pair in enumerate(pairs) if place == 0 or pair[0] != pairs[place - 1][0]], strict=True
    )

    found = trend(xs, ys)

    assert len(pairs) == 36
    assert found is not None
    assert found.low < 1.00211681802045 < found.high
    assert found.slope == pytest.approx(1.0022, abs=2e-4)


def test_one_wild_value_does_not_turn_the_trend() -> None:
    found = trend(range(8), (100, 102, 104, 106, 108, 110, 112, 900))

    assert found is not None
    assert found.slope == 2


@given(
    st.lists(
        st.tuples(st.integers(0, 10_000), st.integers(-1000, 1000)),
        min_size=LEAST,
        max_size=40,
        unique_by=lambda p: p[0],
    ),
    st.sampled_from([0.8, 0.9, 0.95, 0.99]),
)
def test_slope_and_interval_are_scipys(points: list[tuple[int, int]], confidence: float) -> None:
    xs, ys = zip(*sorted(points), strict=True)
    if len(set(ys)) == 1:
        return  # no rank at all: SciPy's interval is that of a variance of nought, too, but it warns

    found, theirs = trend(xs, ys, confidence), theilslopes(ys, xs, confidence)

    assert found is not None
    assert found.slope == pytest.approx(theirs[0])
    assert found.low == pytest.approx(theirs[2])
    assert found.high == pytest.approx(theirs[3])


def test_of_too_few_points_no_trend_is_told() -> None:
    assert trend(range(LEAST - 1), range(LEAST - 1)) is None


def _year(step: float, *, at: int = 200, leak: float = 3.0, seed: int = 0) -> list[float]:
    chance = random.Random(seed)
    return [1000 + leak * day + chance.gauss(0, 20) + (step if day > at else 0) for day in range(365)]


@pytest.mark.parametrize("step", [150, 400, 5_000, -400])
def test_a_large_move_is_found_and_leaves_the_slope_where_it_was(step: float) -> None:
    series = _year(step)
    moves = moves_of(series)

    found = trend(range(365), series, moves=moves)

    assert len(moves) == 1
    assert abs(moves[0] - 201) <= 3
    assert found is not None
    assert found.slope == pytest.approx(3.0, rel=0.03)


def test_a_move_that_took_some_days_is_one() -> None:
    series = [100.0 + min(max(day - 50, 0), 4) * 1000 for day in range(120)]

    assert len(moves_of(series)) == 1


def test_a_large_dump_each_week_is_growth_and_no_move() -> None:
    series = [1000.0 * (day // 7) for day in range(200)]

    found = trend(range(200), series, moves=moves_of(series))

    assert moves_of(series) == ()
    assert found is not None
    assert found.slope == pytest.approx(1000 / 7, rel=0.05)


def test_three_moves_are_a_habit() -> None:
    series = [float(sum(500 for at in (40, 80, 120) if day > at)) for day in range(160)]

    assert moves_of(series) == ()


def test_a_short_series_has_no_moves() -> None:
    assert moves_of([1.0, 1.0, 1.0, 9000.0, 9000.0]) == ()


def test_the_interval_holds_the_true_slope_as_often_as_it_says() -> None:
    """Count misses in 300 years with a move in them; 95 % are to hold it.

    That more than 34 of 300 miss has a probability below 1e-5 (binomial, 5 %: mean 15, standard deviation 3.8).
    """
    missed = 0
    for seed in range(300):
        series = _year(400, seed=seed)
        found = trend(range(365), series, moves=moves_of(series))
        assert found is not None
        missed += not found.low <= 3.0 <= found.high

    assert missed <= 34

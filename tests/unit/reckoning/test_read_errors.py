"""Chances of unreadable data against a table of exact values, and units that are easily confused."""

from __future__ import annotations

from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from coverage_audit.reckoning.read_errors import chance_of_unreadable

TB = 10**12

# 1 - (1 - e)^(8 bytes), decimal TB, at 1e-14, 1e-15 and 1e-16 errors a bit (reckoned with scipy.special, agreeing with
# the Poisson form to six places).
_TABLE = {
    4: (0.273851, 0.031493, 0.003195),
    8: (0.472708, 0.061995, 0.006380),
    10: (0.550671, 0.076884, 0.007968),
    12: (0.617107, 0.091536, 0.009554),
    16: (0.721963, 0.120147, 0.012718),
    20: (0.798103, 0.147856, 0.015873),
}


@pytest.mark.parametrize("size", _TABLE)
def test_the_chance_grows_with_what_is_read_as_the_table_says(size: int) -> None:
    found = [chance_of_unreadable(size * TB, rate) for rate in (1e-14, 1e-15, 1e-16)]

    assert found == [pytest.approx(chance, abs=5e-7) for chance in _TABLE[size]]


def test_binary_terabytes_are_another_figure() -> None:
    assert chance_of_unreadable(12 * 1024**4) == pytest.approx(0.651992, abs=5e-7)


def test_a_read_of_few_bytes_keeps_its_tiny_chance() -> None:
    assert chance_of_unreadable(1) == pytest.approx(8e-14, rel=1e-9)
    assert chance_of_unreadable(0) == 0


@given(st.integers(0, 200), st.integers(1, 500))
def test_it_is_the_complement_of_reading_every_bit(size: int, one_in: int) -> None:
    exact = 1 - (1 - Fraction(1, one_in + 1)) ** (8 * size)

    assert chance_of_unreadable(size, 1 / (one_in + 1)) == pytest.approx(float(exact), abs=1e-12)


@pytest.mark.parametrize(("size", "rate"), [(-1, 1e-14), (1, -1e-14), (1, 1.0)])
def test_figures_that_are_no_chance_are_refused(size: int, rate: float) -> None:
    with pytest.raises(ValueError, match="no chance"):
        chance_of_unreadable(size, rate)

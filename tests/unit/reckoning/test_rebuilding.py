"""A rebuild's time and chances, against the formulas' tables and a simulation."""

from __future__ import annotations

import random
from datetime import timedelta
from fractions import Fraction

import pytest

from coverage_audit.estate.hardware import Parity, ParityKind
from coverage_audit.reckoning.rebuilding import SLOW, UNTIL_REPLACED, RebuildRisk, rebuild_risk

TB = 10**12
_RATE = Fraction(250_000_000)


def risk(drives: int, parity: Parity | None, size: int = 4 * TB) -> RebuildRisk:
    found = rebuild_risk((size,) * drives, parity, lost=size, rate=_RATE)
    assert found is not None
    return found


def spread(drives: int) -> Parity:
    return Parity(kind=ParityKind.SPREAD, drives=drives)


def test_a_rebuild_takes_at_least_what_the_new_drive_needs_to_be_written() -> None:
    # 4e12 bytes at 250e6 bytes a second.
    assert risk(4, spread(1)).least == timedelta(seconds=16_000)


def test_reading_three_drives_of_four_terabytes_for_certain_is_a_matter_of_chance() -> None:
    # 12 decimal terabytes at one error in 1e14 bits: 0.617107.
    found = risk(4, spread(1))

    assert found.rebuild.read == 12 * TB
    assert found.unreadable == pytest.approx(0.617107, abs=5e-7)


def test_a_second_loss_is_reckoned_over_a_slow_rebuild_that_begins_late() -> None:
    # 7 days and 4e12 / 20e6 s are 223.56 h; 1 - 0.87^(3 x 223.56 / 8760), reckoned with bc.
    found = risk(4, spread(1))

    assert (timedelta(days=7), 20_000_000) == (UNTIL_REPLACED, SLOW)
    assert found.further == pytest.approx(0.010605, abs=5e-7)


def test_without_parity_left_either_of_both_loses_data() -> None:
    found = risk(4, spread(1))

    assert found.spare == 0
    assert found.losing == pytest.approx(found.unreadable + found.further)


def test_with_parity_left_it_takes_a_further_loss_besides() -> None:
    found = risk(4, spread(2))

    assert found.spare == 1
    assert found.losing == pytest.approx(found.further * (found.further + found.unreadable))
    assert found.losing < risk(4, spread(1)).losing / 50


def test_in_a_year_it_is_every_drives_failure_that_may_end_so() -> None:
    # Four drives, each failing at 13 % a year, and ending so with the chance above: 1 - 0.87^(4 x chance).
    found = risk(4, spread(1))

    assert found.in_a_year == pytest.approx(1 - 0.87 ** (4 * found.losing))
    assert risk(4, spread(2)).in_a_year == pytest.approx(1 - 0.87 ** (4 * risk(4, spread(2)).losing))


def test_the_chance_in_a_year_is_that_of_the_drive_whose_loss_is_the_worst() -> None:
    # Of whole drives of parity a large one reads more of the others than a small one: 24 TB, not 12 TB.
    sizes = (12 * TB, 12 * TB, 8 * TB, 4 * TB)
    apart = Parity(kind=ParityKind.DEDICATED, drives=1)
    large, small = (rebuild_risk(sizes, apart, lost=lost, rate=_RATE) for lost in (12 * TB, 4 * TB))

    assert large is not None
    assert small is not None
    assert (large.rebuild.read, small.rebuild.read) == (24 * TB, 12 * TB)
    assert small.losing < large.losing
    assert small.in_a_year == large.in_a_year == pytest.approx(1 - 0.87 ** (4 * large.losing))


def test_no_chance_is_above_certainty() -> None:
    assert risk(30, spread(1), 24 * TB).losing == 1


def test_what_stands_no_loss_is_not_made_up() -> None:
    assert rebuild_risk((TB, TB), None, lost=TB, rate=_RATE) is None


def test_every_figure_names_what_it_assumes_and_its_unit() -> None:
    said = " ".join(risk(4, spread(1)).assumptions)

    for words in (
        "4.0 TB at 250 MB/s at best",
        "12.0 TB are read, with 1e-14 errors a bit",
        "13 % a year",
        "9 days 7",
    ):
        assert words in said
    assert "no parity is left" in said
    assert "no parity is left" not in " ".join(risk(4, spread(2)).assumptions)


def test_the_upper_estimate_is_not_passed_in_twenty_thousand_rebuilds() -> None:
    """Let drives fail and reads go wrong by the assumed rates, with two drives of parity, and count the losses.

    Twelve drives of 24 TB: the bound is far below 1, and losses are common enough to be counted.
    """
    chance = random.Random(20_261_127)
    found = risk(12, spread(2), 24 * TB)
    one_fails = 1 - (1 - found.further) ** (1 / 11)
    lost = 0
    for _ in range(20_000):
        failed = sum(chance.random() < one_fails for _ in range(11))
        lost += failed >= 2 or (failed == 1 and chance.random() < found.unreadable)

    assert 0 < lost / 20_000 <= found.losing

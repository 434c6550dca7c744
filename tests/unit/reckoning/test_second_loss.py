"""Failure rates and times to data loss against the papers that gave the formulas."""

from __future__ import annotations

import pytest

from coverage_audit.reckoning.second_loss import (
    HOURS_A_YEAR,
    chance_of_further_loss,
    chance_within,
    mean_time_to_loss,
    mtbf_from_yearly,
)

# Patterson, Gibson and Katz 1988, tables of levels 1, 2 and 3 to 5: MTTF 30,000 h, MTTR 1 h, 100 data disks, in groups
# of G data disks and C check disks: a second disk of the group fails while the first is repaired. Printed are the
# figures as a lecture note cites them (the last from memory); the paper rounds. The others are its formula's.
_PATTERSON = [
    (1, 1, 4_500_000, 4_500_000),
    (10, 4, 494_500, 494_505.5),
    (10, 1, 820_000, 818_181.8),
    (25, 1, 346_000, 346_153.8),
]

# Chen and others 1994, section 3.4.5, as a message to a mailing list of 2005 uses it: 100 data disks of 5 GB, MTTF
# 200,000 h, one bad bit in 1e14. Repair in 1 h, MTTF 20,000 h of the second disk and sectors of 512 bytes are from
# memory; the printed figures come out with them. Group, years by double failure, years by read error, and both chances
# within ten years in per cent.
_CHEN = [
    (16, 285, 36, 3.4, 24.4),
    (8, 571, 71, 1.7, 13.1),
    (2, 2283, 285, 0.44, 3.44),
]

_READABLE = (1 - 4.096e-11) ** (5e9 / 512)

# MTBF in hours and the share that fails in a year, per cent: 1 - exp(-8760 / MTBF).
_YEARLY = [
    (1_000_000, 0.872174),
    (1_200_000, 0.727342),
    (1_400_000, 0.623761),
    (2_000_000, 0.437042),
    (2_500_000, 0.349787),
    (30_000, 25.323146),
]


@pytest.mark.parametrize(("group", "check", "printed", "exact"), _PATTERSON)
def test_the_time_to_data_loss_is_pattersons(group: int, check: int, printed: float, exact: float) -> None:
    drives = 100 + check * 100 / group
    found = mean_time_to_loss(mttf=30_000, drives=drives, losing=(group + check - 1) * 1 / 30_000)

    assert found == pytest.approx(exact, abs=0.1)
    assert found == pytest.approx(printed, rel=3e-3)


@pytest.mark.parametrize(("disks", "hours"), [(100, 300), (1000, 30)])
def test_without_check_disks_the_first_failure_is_the_loss(disks: int, hours: float) -> None:
    # Patterson, Gibson and Katz 1988, section 4: MTTF 30,000 h over the number of disks.
    assert mean_time_to_loss(mttf=30_000, drives=disks, losing=1) == pytest.approx(hours)


@pytest.mark.parametrize(("group", "double", "read_error", "first", "second"), _CHEN)
def test_the_times_to_data_loss_and_the_chances_of_ten_years_are_chens(
    group: int, double: float, read_error: float, first: float, second: float
) -> None:
    drives = 100 * group / (group - 1)
    by_double = mean_time_to_loss(mttf=200_000, drives=drives, losing=(group - 1) * 1 / 20_000)
    by_read = mean_time_to_loss(mttf=200_000, drives=drives, losing=1 - _READABLE ** (group - 1))

    assert by_double / HOURS_A_YEAR == pytest.approx(double, abs=0.5)
    assert by_read / HOURS_A_YEAR == pytest.approx(read_error, abs=0.5)
    assert 100 * chance_within(10 * HOURS_A_YEAR, by_double) == pytest.approx(first, abs=0.06)
    assert 100 * chance_within(10 * HOURS_A_YEAR, by_read) == pytest.approx(second, abs=0.06)


def test_one_group_is_lost_after_the_textbooks_time() -> None:
    # Common textbook forms, M = 1e6 h and R = 24 h: M^2 / (N (N-1) R) and M^3 / (N (N-1) (N-2) R^2), N = 4; and a
    # mirror of 6e6 h repaired in 120 h, M^2 / 2R = 1.5e11 h.
    single, double = 3 * 24 / 1e6, 3 * 2 * 24**2 / 1e12

    assert mean_time_to_loss(mttf=1e6, drives=4, losing=single) == pytest.approx(3.4722e9, rel=1e-4)
    assert mean_time_to_loss(mttf=1e6, drives=4, losing=double) == pytest.approx(7.2338e13, rel=1e-4)
    assert mean_time_to_loss(mttf=6e6, drives=2, losing=120 / 6e6) == pytest.approx(1.5e11, rel=1e-9)


@pytest.mark.parametrize(("mtbf", "percent"), _YEARLY)
def test_a_mean_time_between_failures_is_a_share_of_drives_a_year(mtbf: float, percent: float) -> None:
    yearly = chance_within(HOURS_A_YEAR, mtbf)

    assert 100 * yearly == pytest.approx(percent, abs=5e-7)
    assert mtbf_from_yearly(yearly) == pytest.approx(mtbf)


@pytest.mark.parametrize(("percent", "mtbf"), [(0.5, 1_747_616), (1, 871_613), (2, 433_605), (5, 170_783)])
def test_a_share_of_drives_a_year_is_a_mean_time_between_failures(percent: float, mtbf: float) -> None:
    assert mtbf_from_yearly(percent / 100) == pytest.approx(mtbf, abs=0.5)


def test_datasheets_promise_the_share_that_schroeder_and_gibson_quote() -> None:
    # FAST '07, abstract: MTTF of 1.0 to 1.5 million hours suggest "at most 0.88 %" a year.
    assert chance_within(HOURS_A_YEAR, 1_000_000) < 0.0088


def test_seven_more_drives_for_a_day_at_the_worst_rate_of_the_field() -> None:
    # 1 - 0.87^(7 x 24 / 8760), reckoned with bc.
    assert chance_of_further_loss(7, 24) == pytest.approx(0.002667, abs=5e-7)


def test_one_drive_for_a_year_fails_as_often_as_its_yearly_share_says() -> None:
    assert chance_of_further_loss(1, HOURS_A_YEAR, 0.05) == pytest.approx(0.05)
    assert chance_of_further_loss(0, HOURS_A_YEAR, 0.05) == 0
    assert chance_of_further_loss(3, 0, 0.05) == 0


def test_an_array_that_no_failure_ends_is_never_lost() -> None:
    assert mean_time_to_loss(mttf=200_000, drives=100, losing=0) == float("inf")
    assert chance_within(HOURS_A_YEAR, float("inf")) == 0


@pytest.mark.parametrize("yearly", [0.0, 1.0, -0.1])
def test_what_is_no_share_has_no_mean_time(yearly: float) -> None:
    with pytest.raises(ValueError, match="no share"):
        mtbf_from_yearly(yearly)


def test_impossible_drives_hours_and_rates_are_refused() -> None:
    for hours, mean in ((1.0, 0.0), (-1.0, 1.0)):
        with pytest.raises(ValueError, match="no times"):
            chance_within(hours, mean)
    for others, hours, yearly in ((-1, 1.0, 0.1), (1, -1.0, 0.1), (1, 1.0, 1.0)):
        with pytest.raises(ValueError, match="no chance"):
            chance_of_further_loss(others, hours, yearly)
    for drives, losing in ((0, 0.5), (1, 1.5), (1, -0.5)):
        with pytest.raises(ValueError, match="no time"):
            mean_time_to_loss(mttf=1e6, drives=drives, losing=losing)

"""Whether a day's change fits through a link, against Ethernet arithmetic."""

from __future__ import annotations

from datetime import timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from coverage_audit.reckoning.links import carried
from coverage_audit.reckoning.uploading import Upload, upload

GB = 10**9
MBIT = 10**6
DAY = timedelta(days=1)


def largest_change(link: int) -> int:
    """Return how many whole bytes a link carries in a day."""
    return int(carried(link) * 86_400)


def over(link: int, *, change: int, whole: int = 0) -> Upload:
    return upload(device="avocet", link=link, change=change, whole=whole)


def test_forty_megabits_a_second_carry_four_hundred_gigabytes_a_day_and_no_more() -> None:
    # 40e6 / 8 x 0.941482 x 86,400 s = 406.7 GB (IEEE 802.3 frames, TCP over IPv4 with timestamps).
    assert largest_change(40 * MBIT) == pytest.approx(406.7 * GB, rel=1e-4)
    assert over(40 * MBIT, change=largest_change(40 * MBIT)).fits
    assert not over(40 * MBIT, change=largest_change(40 * MBIT) + 1).fits


def test_a_days_change_says_how_much_of_the_day_it_takes() -> None:
    found = over(1000 * MBIT, change=100 * GB)

    assert found.takes.total_seconds() == pytest.approx(849.7, abs=0.1)
    assert found.share == pytest.approx(849.7 / 86_400, rel=1e-3)


def test_the_first_copy_has_what_the_days_change_leaves_of_the_link() -> None:
    alone = over(40 * MBIT, change=0, whole=4000 * GB)
    beside = over(40 * MBIT, change=largest_change(40 * MBIT) // 2, whole=4000 * GB)

    assert alone.first is not None
    assert beside.first is not None
    assert alone.first / DAY == pytest.approx(9.835, abs=2e-3)
    assert beside.first / alone.first == pytest.approx(2, rel=1e-6)


def test_a_first_copy_beside_a_change_that_does_not_fit_is_never_done() -> None:
    found = over(40 * MBIT, change=500 * GB, whole=4000 * GB)

    assert not found.fits
    assert found.first is None
    assert found.takes > DAY


def test_a_change_that_just_fits_leaves_nothing_for_a_first_copy() -> None:
    # Full frames carry 1448 bytes in 1538, which is 724 in 769: 769 kB/s on the wire are 724 kB/s of files.
    link = 769 * 8 * 1000
    found = over(link, change=724 * 1000 * 86_400, whole=1)

    assert found.share == 1
    assert found.fits
    assert found.first is None


def test_it_says_what_it_assumes() -> None:
    found = over(40 * MBIT, change=30 * GB)

    assert found.assumptions == (
        "The link of avocet carries 94.1 % of its 40 Mbit/s as data: 4.7 MB/s (TCP over Ethernet, nothing else on it).",
        "As much as now changes every day: 30.0 GB, also while the first copy is made.",
    )


@pytest.mark.parametrize(("link", "change", "whole"), [(0, 1, 1), (1, -1, 1), (1, 1, -1)])
def test_impossible_figures_are_refused(link: int, change: int, whole: int) -> None:
    with pytest.raises(ValueError, match="moves bytes"):
        over(link, change=change, whole=whole)


@given(st.integers(1, 10**10), st.integers(0, 10**13))
def test_it_fits_just_when_it_takes_no_more_than_a_day(link: int, change: int) -> None:
    found = over(link, change=change)

    assert found.fits == (change <= largest_change(link))
    if abs(found.takes - DAY) > timedelta(seconds=1):
        assert found.fits == (found.takes <= DAY)

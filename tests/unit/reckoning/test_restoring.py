"""Times until data is back, against Ethernet arithmetic, and what they say of themselves."""

from __future__ import annotations

from datetime import timedelta
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from coverage_audit.estate.model import Medium
from coverage_audit.estate.units import LONGEST
from coverage_audit.reckoning.restoring import (
    AS_MEASURED,
    CUT_OFF,
    UNHINDERED,
    LimitKind,
    TimeBack,
    limit_as_measured,
    limit_of_link,
    limit_of_medium,
    time_back,
)

TB = 10**12
GBIT = 10**9


def back(size: int, *links: int, fetching: timedelta | None = None) -> TimeBack:
    found = time_back(size, [limit_of_link("heron", link) for link in links], fetching)
    assert found is not None
    return found


@pytest.mark.parametrize(
    ("size", "link", "seconds"),
    # TCP over IPv4 with timestamps in full Ethernet frames: decimal terabytes over 1, 2.5 and 10 Gbit/s.
    [
        (TB, GBIT, 8497.2),
        (TB, 5 * GBIT // 2, 3398.9),
        (TB, 10 * GBIT, 849.7),
        (4 * TB, GBIT, 33989.0),
        (4 * TB, 5 * GBIT // 2, 13595.6),
        (12 * TB, GBIT, 28.324 * 3600),
        (12 * TB, 5 * GBIT // 2, 11.330 * 3600),
        (12 * TB, 10 * GBIT, 2.832 * 3600),
    ],
)
def test_a_link_alone_takes_what_its_arithmetic_says(size: int, link: int, seconds: float) -> None:
    assert back(size, link).time.total_seconds() == pytest.approx(seconds, rel=3e-4)


def test_the_slowest_link_rules() -> None:
    # A 1 Gbit/s uplink behind a box of 2.5 Gbit/s is the bottleneck (common practice, no published source).
    limits = [limit_of_link("kestrel", 5 * GBIT // 2), limit_of_link("heron", GBIT)]

    found = time_back(TB, limits)

    assert found is not None
    assert found.bottleneck.what == "the link of heron"
    assert found.time == back(TB, GBIT).time


def test_what_was_measured_rules_where_it_is_slower_and_says_that_it_was() -> None:
    limits = [limit_of_link("heron", GBIT), limit_as_measured("heron:disk", 40_000_000, "median of 3 drills")]

    found = time_back(TB, limits)

    assert found is not None
    assert (found.bottleneck.kind, found.time) == (LimitKind.MEASURED, timedelta(seconds=25_000))
    assert found.measured
    assert AS_MEASURED in found.assumptions
    assert "Of heron:disk 40.0 MB/s were measured (median of 3 drills)." in found.assumptions


def test_a_link_that_is_slower_than_what_was_measured_still_rules() -> None:
    limits = [limit_of_link("heron", 10_000_000), limit_as_measured("heron:disk", 400_000_000, "one drill")]

    found = time_back(TB, limits)

    assert found is not None
    assert found.bottleneck.kind is LimitKind.LINK


def test_without_a_measurement_it_is_a_time_that_it_takes_at_least() -> None:
    found = back(TB, GBIT)

    assert not found.measured
    assert UNHINDERED in found.assumptions


def test_the_time_to_fetch_a_box_comes_first() -> None:
    found = back(TB, GBIT, fetching=timedelta(days=2))

    assert found.time == back(TB, GBIT).time + timedelta(days=2)
    assert "It takes 2 days to have it here." in found.assumptions


def test_the_medium_rules_behind_a_fast_link() -> None:
    tape, disk = limit_of_medium("shelf:tape", Medium.TAPE), limit_of_medium("heron:disk", Medium.HDD)
    assert tape is not None
    assert disk is not None

    found = time_back(28 * TB, [limit_of_link("heron", 100 * GBIT), tape, disk])

    assert found is not None
    assert found.bottleneck == disk
    assert found.time == timedelta(seconds=100_000)
    assert limit_of_medium("cloud:room", Medium.HOSTED) is None


def test_drives_that_read_together_are_that_much_faster() -> None:
    one, four = limit_of_medium("heron:disk", Medium.HDD), limit_of_medium("heron:disk", Medium.HDD, 4)

    assert one is not None
    assert four is not None
    assert four.rate == 4 * one.rate
    assert "4 hard disks together" in four.assumption


def test_where_no_rate_is_known_no_time_is_made_up() -> None:
    assert time_back(TB, []) is None


def test_every_estimate_says_its_units_and_what_it_rests_on() -> None:
    found = back(TB, 5 * GBIT // 2)

    assert found.assumptions[0] == (
        "The link of heron carries 94.1 % of its 2.5 Gbit/s as data: 294 MB/s (TCP over Ethernet, nothing else on it)."
    )


def test_a_time_beyond_the_calendar_is_cut_and_says_so() -> None:
    found = back(2**63 - 1, 1)

    assert found.time == LONGEST
    assert CUT_OFF in found.assumptions


def test_what_moves_no_bytes_is_refused() -> None:
    with pytest.raises(ValueError, match="moves bytes"):
        back(-1, GBIT)
    with pytest.raises(ValueError, match="moves bytes"):
        time_back(1, [limit_as_measured("heron:disk", 0, "one drill")])


@given(
    st.integers(0, 10**15),
    st.lists(st.integers(1, 10**11), min_size=1, max_size=5),
    st.integers(1, 10**11),
    st.timedeltas(timedelta(0), timedelta(days=30)),
)
def test_one_limit_more_never_makes_it_faster_and_no_limit_is_ever_passed(
    size: int, links: list[int], another: int, fetching: timedelta
) -> None:
    found, slower = back(size, *links, fetching=fetching), back(size, *links, another, fetching=fetching)

    assert slower.time >= found.time
    if found.time < LONGEST:
        moving = Fraction((found.time - fetching) // timedelta(microseconds=1) + 2, 10**6)
        assert all(size <= Fraction(link, 8) * moving * (1 + Fraction(1, 10**9)) for link in links)

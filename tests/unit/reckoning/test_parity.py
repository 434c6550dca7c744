"""What mixed drives hold together, against worked tables and real listings."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from coverage_audit.estate.hardware import Parity, ParityKind
from coverage_audit.reckoning.parity import array_of, dedicated, rebuild_of, replace

TB = 10**12

_SINGLE = Parity(kind=ParityKind.SPREAD, drives=1)
_DOUBLE = Parity(kind=ParityKind.SPREAD, drives=2)
_MIRROR = Parity(kind=ParityKind.MIRROR)
_ONE_APART = Parity(kind=ParityKind.DEDICATED, drives=1)
_TWO_APART = Parity(kind=ParityKind.DEDICATED, drives=2)

# Drives, usable and unused in TB. mdadm(8), `--size`: the smallest drive sets the slice; usable = (n - p) * smallest.
_EQUAL_SLICES = [
    ((4, 4, 4, 4), _SINGLE, 12, 0),
    ((4, 4, 4, 4), _DOUBLE, 8, 0),
    ((4, 4, 4, 8), _SINGLE, 12, 4),
    ((2, 4, 4, 8), _SINGLE, 6, 10),
    ((2, 4, 4, 8), _DOUBLE, 4, 10),
    ((8, 8, 12, 12), _DOUBLE, 16, 8),
    ((8,) * 5, _SINGLE, 32, 0),
    ((8,) * 6, _DOUBLE, 32, 0),
    ((12, 12, 8, 4), _SINGLE, 12, 20),
    ((16, 14, 12, 8, 8, 4), _DOUBLE, 16, 38),
    ((4, 8), _MIRROR, 4, 4),
]

# Usable = total less the p largest: Patterson's level 4 with data drives of unequal size (from memory).
_DEDICATED = [
    ((12, 12, 8, 4), _ONE_APART, 24),
    ((12, 12, 8, 4), _TWO_APART, 12),
    ((16, 14, 12, 8, 8, 4), _ONE_APART, 46),
    ((16, 14, 12, 8, 8, 4), _TWO_APART, 32),
    ((4, 4, 4, 4), _ONE_APART, 12),
    ((4, 4, 4, 4), _TWO_APART, 8),
    ((8, 4), _ONE_APART, 4),
]


def in_bytes(drives: tuple[int, ...]) -> tuple[int, ...]:
    return tuple(size * TB for size in drives)


@pytest.mark.parametrize(("drives", "parity", "usable", "unused"), _EQUAL_SLICES)
def test_equal_slices_and_mirrors_count_the_smallest_drive(
    drives: tuple[int, ...], parity: Parity, usable: int, unused: int
) -> None:
    array = array_of(in_bytes(drives), parity)

    assert (array.usable, array.unused) == (usable * TB, unused * TB)


@pytest.mark.parametrize(("drives", "parity", "usable"), _DEDICATED)
def test_dedicated_parity_takes_the_largest_drives_and_leaves_the_others_whole(
    drives: tuple[int, ...], parity: Parity, usable: int
) -> None:
    assert array_of(in_bytes(drives), parity).usable == usable * TB


@pytest.mark.parametrize(
    ("device_kib", "drives", "parity", "array_kib"),
    # Published listings of mdadm --detail: "Used Dev Size" and "Array Size", both in KiB.
    [
        (1953503872, 5, _SINGLE, 7814015488),
        (3906885632, 5, _SINGLE, 15627542528),
        (6425856, 5, _DOUBLE, 19277568),
    ],
)
def test_real_arrays_show_the_size_reckoned_for_them(
    device_kib: int, drives: int, parity: Parity, array_kib: int
) -> None:
    assert array_of((device_kib * 1024,) * drives, parity).usable == array_kib * 1024


@pytest.mark.parametrize(
    ("drives", "parity", "stands"),
    [(4, None, 0), (4, _SINGLE, 1), (4, _DOUBLE, 2), (4, _TWO_APART, 2), (3, _MIRROR, 2), (2, _MIRROR, 1)],
)
def test_as_many_drives_may_be_lost_as_parity_is_spent_and_of_a_mirror_all_but_one(
    drives: int, parity: Parity | None, stands: int
) -> None:
    assert array_of((4 * TB,) * drives, parity).stands == stands


def test_a_parity_drive_smaller_than_a_data_drive_is_no_array() -> None:
    with pytest.raises(ValueError, match="cannot make up a data drive of 12000000000000 bytes"):
        dedicated(parity=[8 * TB], data=[12 * TB, 4 * TB])


@pytest.mark.parametrize(
    ("drives", "parity", "why"),
    [
        ((), None, "needs drives"),
        ((4 * TB, 0), _SINGLE, "more than 0 bytes"),
        ((4 * TB,), _MIRROR, "at least two"),
        ((4 * TB,), _SINGLE, "none is left for data"),
        ((4 * TB, 4 * TB), _TWO_APART, "none is left for data"),
        ((4 * TB, 4 * TB), Parity(kind=ParityKind.SPREAD, drives=0), "at least one drive"),
    ],
)
def test_what_can_be_no_array_is_refused_in_words(drives: tuple[int, ...], parity: Parity | None, why: str) -> None:
    with pytest.raises(ValueError, match=why):
        array_of(drives, parity)


def test_three_data_drives_of_six_replaced_by_twelve_take_fifty_four_terabytes_to_seventy_two() -> None:
    # Common practice, no published source.
    drives = in_bytes((12, 12, 12, 12, 6, 6, 6))

    found = replace(drives, _ONE_APART, old=6 * TB, new=12 * TB, count=3)

    assert (found.before.usable, found.after.usable) == (54 * TB, 72 * TB)
    assert not found.parity_first


def test_one_drive_of_equal_slices_replaced_by_a_larger_one_adds_nothing() -> None:
    found = replace(in_bytes((4, 4, 4, 4)), _SINGLE, old=4 * TB, new=8 * TB, count=1)

    assert found.after.usable == found.before.usable == 12 * TB
    assert found.after.unused == 4 * TB


def test_a_drive_larger_than_the_parity_means_the_parity_first() -> None:
    drives = in_bytes((12, 12, 8, 4))

    assert replace(drives, _ONE_APART, old=4 * TB, new=16 * TB, count=1).parity_first
    assert not replace(drives, _ONE_APART, old=4 * TB, new=12 * TB, count=1).parity_first
    assert replace(in_bytes((16, 12, 8)), _TWO_APART, old=8 * TB, new=14 * TB, count=1).parity_first
    assert not replace(drives, _SINGLE, old=4 * TB, new=16 * TB, count=1).parity_first


@pytest.mark.parametrize("count", [0, 3, -1])
def test_drives_that_are_not_there_cannot_be_replaced(count: int) -> None:
    with pytest.raises(ValueError, match="the array has 2 of them"):
        replace(in_bytes((4, 4, 8)), _SINGLE, old=4 * TB, new=8 * TB, count=count)


@pytest.mark.parametrize(
    ("drives", "parity", "old", "new", "least"),
    # What a rebuild writes has to fit: the slice of the smallest, or what a whole drive held (of parity: the largest
    # data drive). mdadm(8) refuses a smaller device, too.
    [
        ((4, 4, 8), _SINGLE, 8, 4, 4),
        ((4, 8), _MIRROR, 8, 4, 4),
        ((12, 12, 8, 4), _ONE_APART, 8, 8, 8),
        ((16, 12, 8), _ONE_APART, 16, 12, 12),
    ],
)
def test_a_smaller_drive_takes_the_place_of_another_only_if_what_is_made_up_fits(
    drives: tuple[int, ...], parity: Parity, old: int, new: int, least: int
) -> None:
    assert replace(in_bytes(drives), parity, old=old * TB, new=new * TB, count=1).after.stands == 1
    with pytest.raises(ValueError, match=rf"{least}\.0 TB are made up on it"):
        replace(in_bytes(drives), parity, old=old * TB, new=new * TB - 10**9, count=1)


def test_what_cannot_be_replaced_is_said_as_people_read_it() -> None:
    with pytest.raises(ValueError, match=r"^1 drive of 3\.0 TB cannot be replaced: the array has 0 of them$"):
        replace([4 * 10**12], None, old=3 * 10**12, new=8 * 10**12, count=1)
    with pytest.raises(ValueError, match=r"^2 drives of 4\.0 TB \(4000787030016 bytes\) cannot be replaced"):
        replace([4 * 10**12], None, old=4_000_787_030_016, new=8 * 10**12, count=2)


def test_a_rebuild_reads_every_other_drive_as_far_as_the_lost_one_reaches() -> None:
    mixed = in_bytes((12, 12, 8, 4))
    spread = rebuild_of(in_bytes((4, 4, 4, 8)), _SINGLE, lost=8 * TB)
    apart = rebuild_of(mixed, _ONE_APART, lost=8 * TB)
    mirror = rebuild_of(in_bytes((4, 8)), _MIRROR, lost=8 * TB)

    assert spread is not None
    assert (spread.read, spread.written) == (12 * TB, 4 * TB)
    assert apart is not None
    assert (apart.read, apart.written) == ((8 + 8 + 4) * TB, 8 * TB)
    assert mirror is not None
    assert (mirror.read, mirror.written) == (4 * TB, 4 * TB)
    assert rebuild_of(mixed, None, lost=8 * TB) is None


def test_a_drive_that_is_not_there_cannot_be_made_up() -> None:
    with pytest.raises(ValueError, match="no drive of the array has"):
        rebuild_of(in_bytes((4, 4, 4)), _SINGLE, lost=6 * TB)


sizes = st.lists(st.integers(1, 24), min_size=3, max_size=8)
parities = st.builds(Parity, kind=st.sampled_from(list(ParityKind)), drives=st.integers(1, 2))


@given(sizes, parities)
def test_an_array_never_holds_more_than_its_drives_do_without_as_many_as_it_stands(
    drives: list[int], parity: Parity
) -> None:
    array = array_of(drives, parity)

    assert array.usable <= sum(sorted(drives)[: len(drives) - array.stands])
    assert 0 <= array.unused <= sum(drives) - array.usable


@given(sizes, parities, st.integers(1, 24))
def test_a_larger_drive_never_makes_an_array_smaller(drives: list[int], parity: Parity, more: int) -> None:
    found = replace(drives, parity, old=drives[0], new=drives[0] + more, count=1)

    assert found.after.usable >= found.before.usable
    assert sorted(found.drives) == sorted([drives[0] + more, *drives[1:]])

from __future__ import annotations

from datetime import timedelta
from pathlib import Path

import numpy as np
import pytest

from coverage_audit.comparison.means import plain_mode
from coverage_audit.comparison.mode import HOUR_NS, Signs, clock_offset_ns, decide
from coverage_audit.estate.model import Address, DeviceId, VolumeId, VolumeKey
from coverage_audit.evidence.difference import Mode
from tests.builders.manifests import MTIME, a_manifest, a_row

PLAIN = Mode(granularity_ns=1)
HERON = Address(volume=VolumeKey(device=DeviceId("heron"), volume=VolumeId("pool")), path="mirror")


def _signs(sized: int, *later_ns: int, granularity_ns: int = 1) -> Signs:
    signs = Signs(granularity_ns=granularity_ns)
    signs.add(sized, np.array(later_ns, dtype=np.int64))
    return signs


def test_times_that_agree_are_compared_plainly() -> None:
    assert decide(_signs(100, *[0] * 100), PLAIN, 0) == PLAIN


def test_one_whole_hour_off_in_nearly_all_files_is_a_zone_error() -> None:
    mode = decide(_signs(100, *[2 * HOUR_NS] * 95), PLAIN, 0)

    assert mode == Mode(granularity_ns=1, shift=timedelta(hours=-2))


def test_an_hour_off_in_many_files_is_no_zone_error() -> None:
    assert decide(_signs(100, *[HOUR_NS] * 94), PLAIN, 0) == PLAIN


def test_two_files_make_no_rule() -> None:
    assert decide(_signs(2, HOUR_NS, HOUR_NS), PLAIN, 0) == PLAIN
    assert decide(_signs(2, 5, 5), PLAIN, 0) == PLAIN


def test_hours_that_are_not_whole_or_not_one_are_no_zone_error() -> None:
    off = [-HOUR_NS + 10] * 50
    assert decide(_signs(50, *off), PLAIN, 0) == PLAIN
    assert decide(_signs(100, *[-HOUR_NS] * 50, *[-2 * HOUR_NS] * 50), PLAIN, 0) == PLAIN
    assert decide(_signs(50, *[-27 * HOUR_NS] * 50), PLAIN, 0) == PLAIN


def test_a_copy_that_is_just_a_day_behind_is_old_not_in_another_zone() -> None:
    """Dumps of one size that are written anew every night at the same second look so."""
    assert decide(_signs(50, *[-24 * HOUR_NS] * 50), PLAIN, 0) == PLAIN


def test_a_whole_hour_within_two_seconds_is_one_where_times_are_kept_in_two_seconds() -> None:
    plain = Mode(granularity_ns=2 * 10**9)
    signs = _signs(3, HOUR_NS - 10**9, HOUR_NS, HOUR_NS + 1, granularity_ns=plain.granularity_ns)

    assert decide(signs, plain, 0).shift == timedelta(hours=-1)


def test_a_copy_whose_times_are_nearly_all_later_keeps_no_times() -> None:
    assert decide(_signs(20, *range(1, 20)), PLAIN, 7) == Mode(granularity_ns=1, by_size=True, offset_ns=7)
    assert decide(_signs(20, *range(1, 20)), PLAIN, None).offset_ns is None


def test_a_copy_whose_times_are_all_earlier_is_old_and_nothing_else() -> None:
    assert decide(_signs(20, *range(-20, 0)), PLAIN, 0) == PLAIN


def test_files_that_are_the_same_weigh_against_both() -> None:
    signs = _signs(3, 5, 5, 5)
    assert signs.could_decide()
    signs.sized += 1
    assert not signs.could_decide()


@pytest.mark.parametrize(
    ("mine", "other", "wanted"),
    [
        (timedelta(0), timedelta(seconds=3), -3 * 10**9),
        (timedelta(minutes=20), timedelta(minutes=21), -60 * 10**9),
        (timedelta(0), timedelta(minutes=5), -300 * 10**9),
        (timedelta(0), timedelta(minutes=5, microseconds=1), None),
        (None, timedelta(0), None),
        (timedelta(0), None, None),
    ],
)
def test_the_offset_is_between_the_two_boxes_and_small_or_unknown(
    mine: timedelta | None, other: timedelta | None, wanted: int | None, tmp_path: Path
) -> None:
    original = a_manifest(tmp_path, [a_row(b"a")], clock_offset=mine)
    copy = a_manifest(tmp_path, [a_row(b"a")], clock_offset=other, address=HERON)

    assert clock_offset_ns(original, copy) == wanted


def test_one_box_has_one_clock(tmp_path: Path) -> None:
    original, copy = (a_manifest(tmp_path, [a_row(b"a")], clock_offset=None) for _ in range(2))

    assert clock_offset_ns(original, copy) == 0


def test_the_coarser_of_trees_and_listings_counts(tmp_path: Path) -> None:
    fine = a_manifest(tmp_path, [a_row(b"a", mtime_ns=MTIME)])
    coarse = a_manifest(tmp_path, [a_row(b"a", mtime_ns=MTIME // 10**6 * 10**6)])
    by_seconds = a_manifest(tmp_path, [a_row(b"a", mtime_ns=MTIME)], precision_ns=10**9)

    assert plain_mode(fine, fine).granularity_ns == 1
    assert plain_mode(fine, coarse).granularity_ns == 10**6
    assert plain_mode(by_seconds, coarse).granularity_ns == 10**9


def test_a_copy_that_was_seen_to_keep_times_and_bears_later_ones_is_compared_as_it_is() -> None:
    mode = decide(_signs(20, *range(1, 21)), PLAIN, 7, keeps_times=True)

    assert mode == Mode(granularity_ns=1, times_lost=True)

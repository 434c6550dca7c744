from __future__ import annotations

from datetime import timedelta
from typing import Any

import pytest

from coverage_audit.evidence.difference import Tally
from tests.builders.cases import a_comparison, a_copy, a_dated_copy, a_point, judged_copy, lacking
from tests.builders.station import FINISHED, HELD, HERON, RECORDINGS, SEEN, STARTED

FEW = Tally(files=3, bytes=3_000)


def a_mirror(comparison: Any, **values: Any) -> Any:
    return judged_copy(a_copy(HERON, RECORDINGS.copies[0], comparison=comparison, **values))


def test_a_copy_that_lacks_nothing_brings_back_the_moment_at_which_both_sides_were_seen() -> None:
    assert a_mirror(a_comparison()).recovery_point == SEEN
    earlier = SEEN - timedelta(minutes=1)
    assert a_mirror(a_comparison(original_at=earlier)).recovery_point == earlier
    assert a_mirror(a_comparison(copy_at=earlier)).recovery_point == earlier


def test_what_is_lacking_brings_back_its_earliest_start() -> None:
    start = STARTED - timedelta(days=11)
    found = lacking(3, 3_000, counting=FEW, counting_rows=3, earliest_start=start, earliest_start_trimmed=start)

    assert a_mirror(found).recovery_point == start


def test_beside_it_stands_the_figure_without_the_few_that_stick_out() -> None:
    odd, usual = STARTED - timedelta(days=5000), STARTED - timedelta(hours=3)
    found = lacking(3, 3_000, pending=FEW, pending_rows=3, earliest_start=odd, earliest_start_trimmed=usual)

    copy = a_mirror(found)

    assert copy.recovery_point == odd
    assert copy.recovery_point_trimmed == usual


def test_a_copy_that_holds_nothing_brings_nothing_back() -> None:
    assert a_mirror(lacking(HELD.files, HELD.bytes)).recovery_point is None


def test_what_was_not_seen_of_the_original_leaves_no_point_proven() -> None:
    assert a_mirror(a_comparison(blind_original=True)).recovery_point is None


def test_a_dated_point_brings_back_no_later_than_its_earliest_instant() -> None:
    at = STARTED - timedelta(hours=5)
    twice = a_point("2026-11-24", at, latest=at + timedelta(hours=1))

    assert judged_copy(a_dated_copy(HERON, twice)).recovery_point == at


@pytest.mark.parametrize("ahead", [timedelta(minutes=1), timedelta(days=1)])
def test_no_recovery_point_lies_after_what_was_seen(ahead: timedelta) -> None:
    copy = judged_copy(a_dated_copy(HERON, a_point("p", FINISHED + ahead)))

    assert copy.recovery_point is None or copy.recovery_point <= SEEN

"""What a pruning does, learned from what left."""

from __future__ import annotations

from datetime import timedelta

from coverage_audit.evidence.points_past import LeftPoint
from coverage_audit.reckoning.leaving import pruning, seen_until
from tests.builders.station import SEEN

DAY = timedelta(days=1)


def left(age: float, *, gone: int = 0, oldest: bool = True) -> LeftPoint:
    """A point that was last listed at this age in days, and was gone the day after, so many days ago."""
    seen = SEEN - (gone + 1) * DAY
    return LeftPoint(name=f"{age} {gone}", at=seen - age * DAY, seen=seen, gone=seen + DAY, oldest=oldest)


def test_of_nothing_that_left_nothing_is_learned() -> None:
    found = pruning(())

    assert (found.oldest_at, found.thinned_from, seen_until(())) == (None, None, None)


def test_the_age_is_the_middle_between_the_two_lists() -> None:
    assert pruning([left(13, gone=number) for number in range(5)]).oldest_at == 13.5 * DAY


def test_one_point_that_went_early_moves_no_horizon() -> None:
    assert pruning([left(2), *(left(13, gone=number) for number in range(1, 5))]).oldest_at == 13.5 * DAY


def test_what_went_from_between_others_is_thinning() -> None:
    found = pruning([left(7, oldest=False), left(30, gone=3, oldest=False), left(90)])

    assert (found.oldest_at, found.thinned_from) == (90.5 * DAY, 7.5 * DAY)


def test_a_pruning_of_long_ago_is_another_one() -> None:
    assert pruning([left(13, gone=200), left(30)]).oldest_at == 30.5 * DAY


def test_points_were_seen_up_to_the_least_age_at_which_one_was_last_seen() -> None:
    assert seen_until([left(7, oldest=False), left(13)]) == 7 * DAY

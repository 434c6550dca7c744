"""What is remembered of points from list to list."""

from __future__ import annotations

from datetime import datetime, timedelta
from itertools import pairwise

from coverage_audit.evidence.facts import PointList
from coverage_audit.evidence.points_past import LEFT_KEPT, LISTS_KEPT, PointsPast, begun_with, brought_up_to
from tests.builders.cases import a_point
from tests.builders.station import SEEN, an_address

PLACE = an_address("heron:pool/{point}")
DAY = timedelta(days=1)


def listed(at: datetime, *ages: int) -> PointList:
    """The points of so many days before the audit of the tests, listed at some moment."""
    points = (a_point(f"of day {age}", SEEN - age * DAY, size=age) for age in sorted(ages, reverse=True))
    return PointList(address=PLACE, at=at, points=tuple(points))


def past_of(*lists: PointList) -> PointsPast:
    past = begun_with(lists[0])
    for before, now in pairwise(lists):
        past = brought_up_to(past, before, now)
    return past


def test_a_past_begins_with_its_first_list() -> None:
    past = begun_with(listed(SEEN, 3, 9, 4))

    assert (past.since, past.oldest, past.left, past.listed) == (SEEN, SEEN - 9 * DAY, (), (SEEN,))
    assert begun_with(listed(SEEN)).oldest is None


def test_the_oldest_point_ever_seen_outlasts_itself() -> None:
    past = past_of(listed(SEEN - DAY, 9, 4), listed(SEEN, 4, 1))

    assert past.oldest == SEEN - 9 * DAY
    assert past.since == SEEN - DAY


def test_what_left_is_remembered_with_when_it_was_last_seen_and_whether_it_was_the_oldest() -> None:
    past = past_of(listed(SEEN - 2 * DAY, 9, 8, 5, 4), listed(SEEN - DAY, 8, 5, 4), listed(SEEN, 8, 4))

    assert [(one.name, one.oldest, one.size) for one in past.left] == [("of day 9", True, 9), ("of day 5", False, 5)]
    assert [(one.seen, one.gone) for one in past.left] == [(SEEN - 2 * DAY, SEEN - DAY), (SEEN - DAY, SEEN)]


def test_points_that_are_all_gone_at_once_say_nothing_of_what_is_the_oldest() -> None:
    past = past_of(listed(SEEN - DAY, 9, 8), listed(SEEN))

    assert [one.oldest for one in past.left] == [False, False]


def test_a_point_that_comes_back_never_left() -> None:
    past = past_of(listed(SEEN - 2 * DAY, 9, 8), listed(SEEN - DAY, 8), listed(SEEN, 9, 8))

    assert past.left == ()


def test_the_same_list_again_and_an_older_one_add_nothing() -> None:
    past = past_of(listed(SEEN - DAY, 9, 4), listed(SEEN, 4))

    assert brought_up_to(past, listed(SEEN, 4), listed(SEEN, 4)) == past
    assert brought_up_to(past, listed(SEEN, 4), listed(SEEN - DAY, 3)) == past


def test_what_is_remembered_one_by_one_is_bounded() -> None:
    many = range(5, LEFT_KEPT + 50)
    past = past_of(listed(SEEN - DAY, *many), listed(SEEN, 1))
    for number in range(LISTS_KEPT + 5):
        past = brought_up_to(past, listed(SEEN + number * DAY, 1), listed(SEEN + (number + 1) * DAY, 1))

    assert (len(past.left), len(past.listed)) == (LEFT_KEPT, LISTS_KEPT)
    assert past.oldest == SEEN - max(many) * DAY


def test_a_point_that_its_filesystem_counts_as_changed_since_an_earlier_list_stays_known_as_such() -> None:
    """Its properties look untouched again by the next list. Once is for good, until another one bears its name."""

    def snapshots(at: datetime, **generations: int) -> PointList:
        points = tuple(a_point(name, SEEN - DAY, identity=name, generation=n) for name, n in generations.items())
        return PointList(address=PLACE, at=at, points=points)

    changed = [snapshots(SEEN - 2 * DAY, a=7, b=7), snapshots(SEEN - DAY, a=9, b=7), snapshots(SEEN, a=9, b=7)]
    made_anew = PointList(address=PLACE, at=SEEN + DAY, points=(a_point("a", SEEN, identity="another", generation=12),))

    assert past_of(*changed[:1]).rewritten == ()
    assert past_of(*changed[:2]).rewritten == ("a",)
    assert past_of(*changed).rewritten == ("a",)
    assert past_of(*changed, made_anew).rewritten == ()

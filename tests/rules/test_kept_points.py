"""The rule of kept points: which older states are there, which went, which are not there yet, and what goes next.

The audit of the tests is of Wednesday 25 November 2026, 04:10 UTC.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta

import pytest

from coverage_audit.estate.criteria import Keep, Rhythm
from coverage_audit.evidence.facts import PinState, PointList
from coverage_audit.judgement.case import CopyEvidence
from coverage_audit.judgement.verdict import Answer, Conclusion, Finding
from tests.builders.cases import a_copy, a_gap, a_place, a_point, an_identity, device_facts, judged_dataset
from tests.builders.dated import DAY, asked, found_by, instant, kept, nights, remembering
from tests.builders.station import CURLEW, FINISHED, HERON, RECORDINGS, SEEN, changed

WEEK = Keep(daily=7)
YEAR = Keep(daily=7, weekly=4, monthly=12)


def keeping(keep: Keep, *copies: CopyEvidence) -> Finding:
    return found_by("kept-points", asked(*copies, keep=keep))


def test_nothing_is_said_where_nothing_is_asked() -> None:
    assert [f for f in judged_dataset(asked(kept(nights(0)))).findings if f.rule == "kept-points"] == []


def test_a_point_of_each_night_keeps_a_week() -> None:
    found = keeping(WEEK, kept(nights(*range(9))))

    assert found.answer is Answer.CONFORMITY
    assert found.measured.startswith("7 of 7 days, oldest state 2026-11-17 02:00 GMT")
    assert found.required == "daily: 7"
    assert found.control == "supports evidence for NIST SP 800-53 Rev. 5 SI-12"


def test_tonights_point_is_asked_for_only_tomorrow() -> None:
    assert keeping(WEEK, kept(nights(*range(1, 8)))).answer is Answer.CONFORMITY


def test_a_pruning_that_keeps_seven_daily_states_keeps_a_week_before_and_after_tonights() -> None:
    before, after = nights(*range(1, 8)), nights(*range(7))

    assert keeping(WEEK, kept(before)).answer is Answer.CONFORMITY
    assert keeping(WEEK, remembering(kept(after), (1, before))).answer is Answer.CONFORMITY
    assert keeping(WEEK, remembering(kept(after[1:]), (1, before))).answer is Answer.NONCONFORMITY


def test_a_night_without_a_point_is_named() -> None:
    found = keeping(WEEK, kept(nights(*{*range(9)} - {3, 4})))

    assert found.answer is Answer.NONCONFORMITY
    assert "5 of 7 days" in found.measured
    assert "never came: 2026-11-22, 2026-11-21" in found.message
    assert found.degree == 2


def test_days_weeks_months_and_years_are_slots_of_their_own() -> None:
    ages = {*range(8), *(7 * week for week in range(6)), *(30 * month for month in range(14)), 400, 760}

    assert keeping(replace(YEAR, yearly=2), kept(nights(*ages))).answer is Answer.CONFORMITY
    only_weeks = keeping(YEAR, kept(nights(*{*ages} - {14, 60})))
    assert "what never came: 2026-W46, 2026-09" in only_weeks.message


def test_what_lies_before_the_first_point_ever_seen_is_not_there_yet_and_said_when_it_is() -> None:
    found = keeping(Keep(daily=7, weekly=4), kept(nights(*range(5))))

    # The first point is of Saturday 21 November: seven days are over on the 28th, four weeks (from the 16th) on
    # 14 December.
    assert found.answer is Answer.OBSERVATION
    assert "its days are complete by 2026-11-28" in found.message
    assert "its weeks are complete by 2026-12-14" in found.message


def test_what_is_not_there_yet_leaves_a_dataset_conforming() -> None:
    assert judged_dataset(asked(kept(nights(0, 1)), keep=YEAR)).conclusion is Conclusion.CONFORMING


def test_a_copy_that_is_listed_for_long_without_a_point_is_not_new() -> None:
    found = keeping(WEEK, remembering(kept(nights(0, 1, 2)), (30, ())))

    assert found.answer is Answer.NONCONFORMITY
    assert "3 of 7 days" in found.measured
    assert "never came: 2026-11-22" in found.message


def test_what_was_there_and_went_is_no_young_history() -> None:
    found = keeping(Keep(weekly=4), remembering(kept(nights(*range(3))), (1, nights(*range(1, 15)))))

    assert found.answer is Answer.NONCONFORMITY
    assert "what was there and went: 2026-W47, 2026-W46" in found.message


def test_the_oldest_point_ever_seen_is_enough_to_know_that_it_went() -> None:
    evidence = remembering(kept(nights(0, 1)), (1, nights(1, 40)))
    assert evidence.past is not None
    forgotten = replace(evidence, past=replace(evidence.past, left=()))

    found = keeping(Keep(monthly=2), forgotten)

    assert found.answer is Answer.NONCONFORMITY
    assert "was there and went: 2026-10" in found.message


def test_copies_keep_together_what_none_keeps_alone() -> None:
    near = kept(nights(0, 1, 2, 3))
    far = kept(nights(4, 5, 6, 7, 8), place=a_place(CURLEW))

    assert keeping(WEEK, near, far).answer is Answer.CONFORMITY


def test_snapshots_on_the_originals_own_pool_help_and_are_said_to_fall_with_it() -> None:
    here = a_place(HERON, device_facts=device_facts("kestrel"))

    found = keeping(WEEK, kept(nights(*range(9)), place=here))

    assert found.answer is Answer.CONFORMITY
    assert "all of them lie where the original does and fall with it" in found.message
    assert "fall with it" not in keeping(WEEK, kept(nights(*range(9)))).message


@pytest.mark.parametrize("spoil", ["half-made", "empty", "from tomorrow"])
def test_what_is_no_state_does_not_count(spoil: str) -> None:
    points = list(nights(*range(9)))
    half: tuple[str, ...] = ()
    if spoil == "half-made":
        half = (points[-2].name,)
    elif spoil == "empty":
        points[-2] = replace(points[-2], size=0)
    else:
        points[-2] = a_point("tomorrow", FINISHED + DAY)

    found = keeping(WEEK, kept(points, half_made=half))

    assert found.answer is Answer.NONCONFORMITY
    assert "never came: 2026-11-24" in found.message


def test_a_point_that_its_own_time_contradicts_is_not_known_to_fill_a_slot() -> None:
    points = list(nights(*range(9)))
    points[-2] = replace(points[-2], doubts=("it says another time than its filesystem",))

    found = keeping(WEEK, kept(points))

    assert found.answer is Answer.UNVERIFIED
    assert "what is not known: 2026-11-24" in found.message


@pytest.mark.parametrize("what", ["points", "identity", "another volume", "clock", "none of the names"])
def test_what_is_not_known_is_unverified(what: str) -> None:
    evidence = kept(nights(*range(9)))
    place, listed = evidence.place, evidence.points
    assert isinstance(listed, PointList)
    spoilt = {
        "points": replace(evidence, points=a_gap("heron")),
        "identity": replace(evidence, place=replace(place, identity=a_gap("heron"))),
        "another volume": replace(
            evidence, place=replace(place, identity=an_identity(place.volume, PinState.CHANGED, "it is another"))
        ),
        "clock": replace(
            evidence, place=replace(place, device_facts=changed(place.device_facts, clock_offset=timedelta(hours=1)))
        ),
        "none of the names": replace(evidence, points=replace(listed, points=(), refused=(("x", "no date"),))),
    }[what]

    assert keeping(WEEK, spoilt).answer is Answer.UNVERIFIED
    with_another = keeping(WEEK, spoilt, kept(nights(*range(9)), place=a_place(CURLEW)))
    assert with_another.answer is Answer.CONFORMITY
    with_less = keeping(WEEK, spoilt, kept(nights(0, 1, 8), place=a_place(CURLEW)))
    assert with_less.answer is Answer.UNVERIFIED


def test_without_a_copy_that_has_points_nothing_is_kept() -> None:
    found = keeping(WEEK, a_copy(HERON, RECORDINGS.copies[0]))

    assert found.answer is Answer.NONCONFORMITY
    assert "no copy of it has recovery points" in found.message


def test_without_a_single_point_nothing_is_kept_however_new_the_copy_is() -> None:
    assert keeping(WEEK, kept(())).answer is Answer.NONCONFORMITY


def test_a_box_that_may_be_off_is_judged_as_of_when_it_was_seen() -> None:
    off = changed(HERON, may_be_off=timedelta(days=3))
    evidence = kept(nights(*range(2, 10)), place=a_place(off))
    assert isinstance(evidence.points, PointList)
    seen = replace(evidence.points, at=SEEN - 2 * DAY)

    assert keeping(WEEK, replace(evidence, points=seen)).answer is Answer.CONFORMITY
    too_long = replace(evidence, points=replace(seen, at=SEEN - 4 * DAY))
    assert keeping(WEEK, too_long).answer is Answer.UNVERIFIED


def test_on_quiet_weekdays_no_daily_point_is_asked_for() -> None:
    # The 21st and 22nd of November 2026 are a weekend.
    evidence, quiet = kept(nights(*{*range(9)} - {3, 4})), Rhythm(every=DAY, quiet=frozenset({5, 6}))

    found = found_by("kept-points", asked(evidence, keep=WEEK, rhythm=quiet))

    assert found.answer is Answer.CONFORMITY
    assert "5 of 5 days" in found.measured


def test_a_point_belongs_to_the_day_of_the_estates_zone() -> None:
    # 23:30 UTC on 24 October 2026 is 00:30 of the 25th in Dublin, where summer time still holds.
    points = [a_point("x", instant("2026-10-25T00:30")), *nights(0)]

    assert "2 of 32 days" in keeping(Keep(daily=32), kept(points)).measured
    assert "1 of 31 days" in keeping(Keep(daily=31), kept(points)).measured


def test_what_the_present_pruning_deletes_next_is_learned_from_what_left() -> None:
    lists = [(age, nights(*range(age, age + 15))) for age in range(5, 0, -1)]
    found = keeping(Keep(daily=7), remembering(kept(nights(*range(15))), *lists))

    # Each night the point of the age of 14 days was seen last, and was gone the night after: about 14 days and a half.
    assert "the oldest is deleted at the age of 14 days 14 h" in found.message
    assert "“2026-11-11” goes next, about 2026-11-25" in found.message


def test_that_nothing_left_yet_is_said_for_what_it_is() -> None:
    found = keeping(WEEK, remembering(kept(nights(*range(9))), (5, nights(*range(5, 9)))))

    assert "no point left since 2026-11-20" in found.message
    assert "what is deleted next is not known" in found.message


def test_a_pruning_that_thins_is_no_pruning_of_the_oldest() -> None:
    before = nights(*range(1, 10), 30)
    found = keeping(WEEK, remembering(kept(nights(*range(9), 30)), (1, before)))

    assert "thinned out from an age of" in found.message


def test_a_state_that_only_the_next_to_go_holds_is_said_to_go_with_it() -> None:
    lists = [(age, (*nights(*range(age, age + 3)), *nights(28 + age))) for age in range(3, 0, -1)]
    found = keeping(Keep(monthly=2), remembering(kept((*nights(28), *nights(0, 1, 2))), *lists))

    assert "“2026-10-28” goes next" in found.message
    assert "and with it all that is held of 2026-10" in found.message


def test_what_the_present_pruning_will_never_let_be_complete_is_said() -> None:
    lists = [(age, nights(*range(age, age + 15))) for age in range(5, 0, -1)]
    found = keeping(Keep(weekly=30), remembering(kept(nights(*range(15))), *lists))

    assert "the present pruning does not let happen" in found.message


SPAN = Keep(span=14 * DAY)
HOUR = timedelta(hours=1)
EVENINGS = nights(*range(1, 16))


def test_a_span_is_kept_from_its_beginning_to_now() -> None:
    assert keeping(SPAN, kept(nights(*range(15)))).answer is Answer.CONFORMITY


def test_a_recorder_that_deletes_at_the_end_of_the_span_keeps_it() -> None:
    assert keeping(SPAN, kept(nights(*range(14)))).answer is Answer.CONFORMITY


def test_only_very_new_and_very_old_points_keep_no_span() -> None:
    found = keeping(SPAN, kept(nights(0, 1, 200)))

    assert found.answer is Answer.NONCONFORMITY
    assert "from 2026-05-09 02:00" in found.message
    assert "to 2026-11-24 02:00 GMT, never came" in found.message


def test_a_hole_in_a_span_that_a_pruning_made_is_told_from_one_where_none_came() -> None:
    thinned = {*range(15)} - {5, 6}
    assert "never came" in keeping(SPAN, kept(nights(*thinned))).message
    found = keeping(SPAN, remembering(kept(nights(*thinned)), (1, nights(*range(1, 15)))))
    assert found.answer is Answer.NONCONFORMITY
    assert "was there and went" in found.message


def test_points_that_stopped_coming_keep_no_span() -> None:
    found = keeping(SPAN, kept(nights(*range(3, 20))))

    assert found.answer is Answer.NONCONFORMITY
    assert "from 2026-11-22 02:00 GMT to now, never came" in found.message


def test_a_name_of_a_day_may_be_of_its_evening() -> None:
    named = [
        replace(point, earliest=point.earliest - 2 * HOUR, latest=point.earliest + 22 * HOUR) for point in EVENINGS
    ]

    assert keeping(SPAN, kept(named)).answer is Answer.CONFORMITY
    assert keeping(SPAN, kept(named[:-1])).answer is Answer.NONCONFORMITY


def test_a_span_longer_than_the_copy_is_old_is_not_there_yet() -> None:
    found = keeping(SPAN, kept(nights(*range(5))))

    assert found.answer is Answer.OBSERVATION
    assert "complete by 2026-12-05" in found.message


def test_a_span_whose_beginning_was_deleted_is_not_kept() -> None:
    found = keeping(SPAN, remembering(kept(nights(*range(5))), (1, nights(*range(1, 15)))))

    assert found.answer is Answer.NONCONFORMITY
    assert "before 2026-11-21 02:00 GMT, was there and went" in found.message

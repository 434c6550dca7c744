"""The rule of a steady rhythm: late, missing and bunched up points, against a rhythm declared or learned.

The audit of the tests is of Wednesday 25 November 2026, 04:10 UTC.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta

import pytest

from coverage_audit.estate.criteria import Rhythm
from coverage_audit.evidence.facts import PointList, RecoveryPoint
from coverage_audit.judgement.case import CopyEvidence
from coverage_audit.judgement.verdict import Answer, Finding
from tests.builders.cases import a_copy, a_gap, a_place, a_point
from tests.builders.dated import DAY, asked, found_by, instant, kept, nights, remembering
from tests.builders.station import HERON, RECORDINGS, SEEN, changed

DAILY = Rhythm(every=DAY)
LEARNED = Rhythm()


def heard(rhythm: Rhythm, evidence: CopyEvidence) -> Finding:
    return found_by("steady-rhythm", asked(evidence, rhythm=rhythm))


def since(days: int, *points: RecoveryPoint) -> CopyEvidence:
    """A copy that is listed for so long."""
    return remembering(kept(points), (days, ()))


def test_a_point_of_each_night_is_steady() -> None:
    found = heard(DAILY, since(30, *nights(*range(20))))

    assert found.answer is Answer.CONFORMITY
    assert found.measured.startswith("one every 24 h, newest 2026-11-25 02:00 GMT")
    assert found.subject.startswith("field-recordings@heron:pool")


def test_points_that_stopped_coming_are_late() -> None:
    found = heard(DAILY, since(30, *nights(*range(2, 20))))

    assert found.answer is Answer.NONCONFORMITY
    assert "the next was due 2026-11-24 02:00 GMT and is late" in found.message


def test_a_copy_seen_for_the_first_time_may_be_late_at_once() -> None:
    assert heard(DAILY, kept(nights(*range(20, 30)))).answer is Answer.NONCONFORMITY


def test_what_is_late_within_its_tolerance_is_not_late() -> None:
    evening = kept([*nights(2), a_point("b", instant("2026-11-23T23:30"))])

    assert heard(DAILY, evening).answer is Answer.CONFORMITY
    assert heard(replace(DAILY, tolerance=timedelta(hours=1)), evening).answer is Answer.NONCONFORMITY


def test_nights_of_the_last_two_weeks_without_a_point_are_named_although_points_come_again() -> None:
    found = heard(DAILY, since(30, *nights(*{*range(20)} - {4, 5})))

    assert found.answer is Answer.NONCONFORMITY
    assert "no point came of 2 that were due: 2026-11-20 02:00 GMT, 2026-11-21 02:00 GMT" in found.message
    assert found.degree == 2


def test_a_night_of_three_weeks_ago_is_forgiven() -> None:
    assert heard(DAILY, since(30, *nights(*{*range(30)} - {21}))).answer is Answer.CONFORMITY


def test_what_a_pruning_thinned_before_the_first_audit_is_not_taken_for_missing() -> None:
    assert heard(DAILY, kept(nights(0, 1, 2, 9, 16, 23))).answer is Answer.CONFORMITY


def test_a_point_that_was_there_and_went_did_come() -> None:
    evidence = remembering(kept(nights(0, 1, 2, 8)), (10, ()), (1, nights(*range(1, 9))))

    assert heard(DAILY, evidence).answer is Answer.CONFORMITY


def test_beats_whose_points_do_not_last_until_the_next_audit_are_not_judged_and_that_is_said() -> None:
    def hours(*ages: int) -> tuple[RecoveryPoint, ...]:
        return tuple(a_point(f"{age}", SEEN - timedelta(hours=age)) for age in ages)

    evidence = remembering(kept(hours(*range(6))), (2, ()), (1, hours(*range(24, 30))))

    found = heard(Rhythm(every=timedelta(hours=1)), evidence)

    assert found.answer is Answer.OBSERVATION
    assert "points do not last there until the next audit" in found.message


def test_points_that_bunch_up_after_missing_nights_are_said() -> None:
    burst = [a_point(f"burst {minute}", instant(f"2026-11-23T02:{minute}")) for minute in ("10", "20", "30")]
    found = heard(DAILY, since(30, *nights(*{*range(20)} - {3, 4, 5}), *burst))

    assert found.answer is Answer.NONCONFORMITY
    assert "3 came within 12 h of the one before (bunched up while others are missing)" in found.message
    more = heard(DAILY, since(30, *nights(*range(20)), *burst))
    assert more.answer is Answer.OBSERVATION


def test_a_name_of_a_day_may_be_of_its_evening_but_a_day_between_two_is_missing() -> None:
    def days(*ages: int) -> list[RecoveryPoint]:
        midnights = (instant("2026-11-25T00:00") - age * DAY for age in sorted(ages, reverse=True))
        return [a_point(f"{at:%F}", at, latest=min(at + DAY, SEEN)) for at in midnights]

    assert heard(replace(DAILY, tolerance=timedelta(hours=1)), since(30, *days(*range(1, 20)))).answer == "conformity"
    assert heard(DAILY, since(30, *days(*range(2, 20)))).answer is Answer.CONFORMITY
    assert heard(DAILY, since(30, *days(*range(3, 20)))).answer is Answer.NONCONFORMITY
    assert heard(DAILY, since(30, *days(*{*range(1, 20)} - {4}))).answer is Answer.NONCONFORMITY


def test_quiet_weekdays_are_quiet() -> None:
    # The 21st and 22nd of November 2026 are a weekend, as are the 14th and 15th.
    working = since(30, *nights(*{*range(20)} - {3, 4, 10, 11, 17, 18}))

    assert heard(replace(DAILY, quiet=frozenset({5, 6})), working).answer is Answer.CONFORMITY
    assert heard(replace(DAILY, quiet=frozenset({5})), working).answer is Answer.NONCONFORMITY


def test_weekends_are_learned() -> None:
    working = since(30, *nights(*{*range(27)} - {3, 4, 10, 11, 17, 18, 24, 25}))

    found = heard(LEARNED, working)

    assert found.answer is Answer.CONFORMITY
    assert "one every 24 h (learned)" in found.measured
    assert heard(LEARNED, since(30, *nights(*{*range(27)} - {1, 3, 4, 10, 11, 17, 18}))).answer is Answer.NONCONFORMITY


def test_too_few_intervals_teach_nothing() -> None:
    found = heard(LEARNED, kept(nights(0, 1, 2, 3)))

    assert found.answer is Answer.UNVERIFIED
    assert "3 of 8 intervals" in found.message


def test_a_monthly_rhythm_is_one_of_the_calendar() -> None:
    firsts = [a_point(day, instant(f"{day}T02:00")) for day in ("2026-09-01", "2026-10-01", "2026-11-01")]

    assert heard(Rhythm(monthly=True), since(90, *firsts)).answer is Answer.CONFORMITY
    assert heard(Rhythm(monthly=True), since(90, *firsts[:2])).answer is Answer.NONCONFORMITY


def test_a_point_in_doubt_is_not_known_to_have_come() -> None:
    points = list(nights(*range(20)))
    points[-3] = replace(points[-3], doubts=("it says another time than its filesystem",))

    assert heard(DAILY, since(30, *points)).answer is Answer.UNVERIFIED


@pytest.mark.parametrize("what", ["points", "identity"])
def test_what_is_not_known_is_unverified(what: str) -> None:
    evidence = kept(nights(*range(9)))
    dark = {
        "points": replace(evidence, points=a_gap("heron")),
        "identity": replace(evidence, place=replace(evidence.place, identity=a_gap("heron"))),
    }[what]

    assert heard(DAILY, dark).answer is Answer.UNVERIFIED


def test_a_copy_without_any_point_has_no_rhythm() -> None:
    assert heard(DAILY, kept(())).answer is Answer.NONCONFORMITY
    assert heard(DAILY, a_copy(HERON, RECORDINGS.copies[0])).answer is Answer.UNVERIFIED


def test_a_box_that_may_be_off_is_judged_as_of_when_it_was_seen() -> None:
    evidence = kept(nights(*range(2, 10)), place=a_place(changed(HERON, may_be_off=3 * DAY)))
    assert isinstance(evidence.points, PointList)

    off = replace(evidence, points=replace(evidence.points, at=SEEN - 2 * DAY))

    assert heard(DAILY, off).answer is Answer.CONFORMITY
    assert heard(DAILY, evidence).answer is Answer.NONCONFORMITY

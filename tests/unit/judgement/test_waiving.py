"""A waiver holds until its time ends or what it waived gets worse, and of nothing that tells of damage."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

import pytest

from coverage_audit.evidence.difference import Exposure
from coverage_audit.judgement.accepting import UNNEEDED, with_waivers
from coverage_audit.judgement.verdict import Answer, Conclusion, Finding, JudgedEstate
from coverage_audit.judgement.waiving import Stake, Waiver, waived, why_awake
from tests.builders.recorded import a_finding, a_judged, night

NOW = datetime(2026, 11, 25, 3, 0, tzinfo=UTC)
NAME = "enough-copies:field-recordings"
OPEN = [Answer.NONCONFORMITY, Answer.UNVERIFIED]


def failing(**values: Any) -> Finding:
    return replace(a_finding(NAME), **{"degree": 1.0, "kind": "stale", **values})


def a_waiver(finding: Finding | None = None, **values: Any) -> Waiver:
    usual = {"number": 1, "who": "Aoife", "why": "the drive is on its way", "given": NOW - timedelta(days=1)}
    usual |= {"until": NOW + timedelta(days=20), "finding": finding or failing()}
    return Waiver(**{**usual, "name": usual["finding"].id, **values})  # type: ignore[attr-defined]  # a finding


@pytest.mark.parametrize("answer", OPEN)
def test_a_waived_finding_is_the_same_finding_with_the_waiver_beside_it(answer: Answer) -> None:
    finding = failing(answer=answer)

    found = waived(finding, a_waiver(finding), NOW, zone=ZoneInfo("Europe/Dublin"))

    assert found.answer is Answer.WAIVED
    assert found.acceptance is not None
    assert (found.acceptance.who, found.acceptance.answer) == ("Aoife", answer)
    assert found.message == f"{finding.message} Waived until 2026-12-15 by Aoife: “the drive is on its way”."
    assert replace(found, answer=answer, message=finding.message, acceptance=None) == finding


@pytest.mark.parametrize("answer", [Answer.CONFORMITY, Answer.OBSERVATION])
def test_what_is_not_open_is_left_alone(answer: Answer) -> None:
    finding = failing(answer=answer)
    assert waived(finding, a_waiver(), NOW) is finding


def test_it_holds_up_to_its_last_instant_and_no_longer() -> None:
    waiver = a_waiver(until=NOW)
    assert why_awake(failing(), waiver, NOW - timedelta(microseconds=1)) is None
    assert why_awake(failing(), waiver, NOW) == "its time has ended"


WORSE = {
    "an unverified one fails": (failing(answer=Answer.UNVERIFIED), failing(), "is a nonconformity now"),
    "one copy less": (failing(), failing(degree=2.0), "it is worse now"),
    "its figure is not known any more": (failing(), failing(degree=None), "not known any more"),
    "another trouble": (failing(), failing(kind="incomplete"), "another trouble now (incomplete; it was: stale)"),
    "it is damaged now": (failing(), failing(waivable=False), "damage or of another volume"),
}


@pytest.mark.parametrize(("then", "now", "said"), WORSE.values(), ids=list(WORSE))
def test_it_wakes_when_what_it_waived_gets_worse(then: Finding, now: Finding, said: str) -> None:
    found = waived(now, a_waiver(then), NOW)

    assert found.answer is now.answer
    assert found.acceptance is None
    assert said in found.message
    assert "waived until 2026-12-15 by Aoife" in found.message


SAME = {
    "nothing changed": (failing(), failing()),
    "it is known to fail and now unverified": (failing(), failing(answer=Answer.UNVERIFIED)),
    "one copy more": (failing(degree=2.0), failing()),
    "there never was a figure": (failing(degree=None), failing(degree=3.0)),
    "other words for the same figure": (failing(measured="2 days ago"), failing(measured="3 days ago")),
}


@pytest.mark.parametrize(("then", "now"), SAME.values(), ids=list(SAME))
def test_it_sleeps_on_while_nothing_gets_worse(then: Finding, now: Finding) -> None:
    assert waived(now, a_waiver(then), NOW).answer is Answer.WAIVED


@pytest.mark.parametrize(
    ("then", "now", "whole", "wakes"),
    [
        (1_000, 2_000, 10_000, False),
        (1_000, 2_001, 10_000, True),
        (1_000, 9_000, 1_000_000, False),  # less than a hundredth of the dataset came
        (0, 100, 10_000, True),
        (0, 99, 10_000, False),
        (1_000, 2_001, None, True),
        (None, 9_000, 10_000, False),
        (1_000, None, 10_000, False),
    ],
)
def test_it_wakes_when_what_no_copy_holds_doubled(
    then: int | None,
    now: int | None,
    whole: int | None,
    wakes: bool,  # noqa: FBT001 - a parameter of the table
) -> None:
    reason = why_awake(failing(), a_waiver(exposed=then), NOW, Stake(exposed=now, whole=whole))
    assert (reason is not None) is wakes


def test_a_name_with_a_newline_in_it_writes_no_second_line() -> None:
    found = waived(failing(), a_waiver(who="a\nb", why="c\x1b[2J"), NOW)
    assert found.message.isprintable()


def an_audit(*answers: Answer, at: int = 0) -> JudgedEstate:
    findings = [a_finding(f"enough-copies:d{number}", answer) for number, answer in enumerate(answers)]
    return a_judged(night(at), {"field-recordings": [a_finding("age:x", Answer.CONFORMITY), *findings]})


def of(name: str, **values: Any) -> Waiver:
    return a_waiver(a_finding(name), until=night(300), **values)


def test_a_waiver_lets_the_dataset_and_the_estate_conform_and_is_counted_in_both() -> None:
    judged = with_waivers(an_audit(Answer.NONCONFORMITY), [of("enough-copies:d0")]).judged

    assert judged.conclusion is judged.datasets[0].conclusion is Conclusion.CONFORMING
    assert judged.waived == judged.datasets[0].waived == 1


def test_a_second_finding_is_not_hidden_by_it() -> None:
    judged = with_waivers(an_audit(Answer.NONCONFORMITY, Answer.NONCONFORMITY), [of("enough-copies:d0")]).judged

    assert judged.conclusion is Conclusion.NONCONFORMING
    assert judged.waived == 1
    assert [finding.answer for finding in judged.datasets[0].findings[1:]] == [Answer.WAIVED, Answer.NONCONFORMITY]


def test_a_finding_of_the_estate_is_waived_too() -> None:
    clock = a_finding("clocks:heron")
    whole = replace(an_audit(), findings=(clock,), conclusion=Conclusion.NONCONFORMING)

    judged = with_waivers(whole, [of("clocks:heron")]).judged

    assert (judged.conclusion, judged.waived) == (Conclusion.CONFORMING, 1)


def test_what_no_copy_holds_is_told_from_the_dataset_of_the_finding() -> None:
    found = an_audit(Answer.NONCONFORMITY)
    more = replace(found.datasets[0], exposure=Exposure(files=3, bytes=5_000, since=None))
    outcome = with_waivers(replace(found, datasets=(more,)), [of("enough-copies:d0", exposed=1_000)])

    assert outcome.judged.conclusion is Conclusion.NONCONFORMING
    assert outcome.fates[0].ended is not None
    assert "no copy holds 5" in outcome.fates[0].ended


def test_a_waiver_for_what_no_audit_answers_is_observed_and_breaks_nothing() -> None:
    outcome = with_waivers(an_audit(), [of("age:gone")])

    (report,) = outcome.judged.findings
    assert (report.id, report.answer) == ("waivers:age:gone", Answer.OBSERVATION)
    assert "no audit answers it any more" in report.message
    assert report.mend == "End it: coverage-audit waive age:gone --end."
    assert outcome.judged.conclusion is Conclusion.CONFORMING
    assert outcome.fates[0].unneeded_since == outcome.judged.finished


def test_a_waiver_for_what_conforms_is_observed_after_thirty_days_only() -> None:
    waiver, reports = of("enough-copies:d0"), []
    for number in range(32):
        outcome = with_waivers(an_audit(Answer.CONFORMITY, at=number), [waiver])
        waiver = replace(waiver, unneeded_since=outcome.fates[0].unneeded_since)
        reports.append(len(outcome.judged.findings))

    assert reports == [0] * UNNEEDED.days + [1, 1]


def test_what_failed_again_in_between_begins_to_count_anew() -> None:
    waiver = of("enough-copies:d0", unneeded_since=night(0))
    (fate,) = with_waivers(an_audit(Answer.NONCONFORMITY, at=40), [waiver]).fates
    assert (fate.unneeded_since, fate.ended) == (None, None)


def test_an_audit_of_some_datasets_says_nothing_of_waivers_for_others() -> None:
    some = replace(an_audit(Answer.NONCONFORMITY), whole=False)
    outcome = with_waivers(some, [of("age:elsewhere"), of("enough-copies:d0", number=2)])

    assert [fate.number for fate in outcome.fates] == [2]
    assert outcome.judged.findings == ()


def test_of_two_waivers_for_one_finding_the_last_holds_and_the_first_ends() -> None:
    first, second = of("enough-copies:d0"), of("enough-copies:d0", number=2, who="Brid")
    outcome = with_waivers(an_audit(Answer.NONCONFORMITY), [second, first])

    acceptance = outcome.judged.datasets[0].findings[1].acceptance
    assert acceptance is not None
    assert acceptance.who == "Brid"
    assert {fate.number: fate.ended for fate in outcome.fates} == {1: "another waiver stands in its place", 2: None}


def test_a_waiver_that_is_over_ends_whether_its_finding_is_open_or_not() -> None:
    over = [replace(of(name, number=n), until=night(0)) for n, name in enumerate(["enough-copies:d0", "x:gone"])]
    outcome = with_waivers(an_audit(Answer.NONCONFORMITY), over)

    assert {fate.ended for fate in outcome.fates} == {"its time has ended"}
    assert outcome.judged.conclusion is Conclusion.NONCONFORMING
    assert outcome.judged.findings == ()

"""The conclusion in a sentence, and what comes first."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta

from coverage_audit.estate.model import Proof
from coverage_audit.evidence.difference import Exposure
from coverage_audit.judgement.verdict import Answer, Conclusion, JudgedDataset
from coverage_audit.reports.situation import by_weight, situation, worst_first
from tests.builders.judged import NOW, a_copy, a_dataset, a_finding, address, an_estate, judged
from tests.builders.judged_station import the_station

ESTATE = an_estate()
GOOD = a_dataset("maps", (a_copy(ESTATE, address("heron", "maps")),))


def failing(name: str, lost: int) -> JudgedDataset:
    return a_dataset(
        name,
        (),
        conclusion=Conclusion.NONCONFORMING,
        exposure=Exposure(files=1, bytes=lost),
        findings=(a_finding("copies", name),),
    )


def test_all_is_well_in_one_sentence() -> None:
    summed = situation(judged((GOOD,)), {})
    assert summed.sentence == "Conforming: 1 dataset is covered as demanded."
    assert summed.basis == "1 of 1 declared copy proven."
    assert not summed.worries


def test_failures_and_unknowns_are_counted_apart_and_waivers_are_said() -> None:
    whole, _, since = the_station()
    summed = situation(whole, since)
    assert summed.sentence == (
        "Nonconforming: 2 of 12 datasets are not covered as demanded and 3 more are unverified, with 1 waiver."
    )


def test_a_rehearsal_says_so_first() -> None:
    assert situation(judged((GOOD,), rehearsal=True), {}).sentence.startswith("Rehearsal. Conforming")


def test_part_of_an_estate_is_never_called_the_whole() -> None:
    assert "not the whole estate" in situation(judged((GOOD,), whole=False), {}).sentence


def test_an_estate_in_which_nothing_was_judged_is_not_called_covered() -> None:
    assert "covered as demanded" not in situation(judged(()), {}).sentence
    assert "no dataset was judged" in situation(judged(()), {}).sentence


def test_the_estates_own_findings_are_in_the_sentence() -> None:
    own = (a_finding("clocks", "heron", Answer.UNVERIFIED),)
    summed = situation(judged((GOOD,), findings=own, conclusion=Conclusion.UNVERIFIED), {})
    assert summed.sentence == ("Unverified: 1 dataset is covered as demanded and the estate itself is unverified.")
    assert [worry.dataset for worry in summed.worries] == [None]


def test_copies_that_rest_on_less_are_counted() -> None:
    dated = a_copy(ESTATE, address("curlew", "maps"), proof=Proof.DATED)
    sized = replace(a_copy(ESTATE, address("shelf-b", "maps")), by_size=True)
    summed = situation(judged((replace(GOOD, copies=(*GOOD.copies, dated, sized)),)), {})
    assert summed.basis == "3 of 3 declared copies proven, of which 1 rests on dates alone and 1 rests on sizes alone."


def test_the_worst_comes_first_and_of_equals_what_loses_most() -> None:
    unknown = a_dataset("letters", (), conclusion=Conclusion.UNVERIFIED, exposure=None)
    order = worst_first((GOOD, unknown, failing("a", 10), failing("b", 2_000)))
    assert [dataset.id for dataset in order] == ["b", "a", "letters", "maps"]


def test_a_worry_is_as_old_as_its_oldest_finding() -> None:
    whole = judged((replace(failing("a", 1), findings=(a_finding("copies", "a"), a_finding("age", "a"))),))
    begun = NOW - timedelta(days=9)
    (worry,) = situation(whole, {"age:a": begun, "copies:a": NOW}).worries
    assert worry.since == begun
    assert len(worry.others) == 1


def test_what_to_do_first_is_the_cause_and_not_the_count_that_fails_because_of_it() -> None:
    found = tuple(a_finding(rule, "a") for rule in ("enough-copies", "offsite", "completeness", "mount-and-identity"))
    (worry,) = situation(judged((replace(failing("a", 1), findings=found),)), {}).worries
    assert worry.finding.rule == "mount-and-identity"
    assert [each.rule for each in worry.others] == ["completeness", "enough-copies", "offsite"]


def test_a_cause_that_is_only_unknown_does_not_stand_for_what_fails() -> None:
    found = (a_finding("enough-copies", "a"), a_finding("completeness", "a", Answer.UNVERIFIED))
    (worry,) = situation(judged((replace(failing("a", 1), findings=found),)), {}).worries
    assert worry.finding.rule == "enough-copies"


def test_unknown_exposure_is_never_said_as_nothing() -> None:
    unknown = a_dataset(
        "a", (), conclusion=Conclusion.UNVERIFIED, exposure=None, findings=(a_finding("age", "a", Answer.UNVERIFIED),)
    )
    (worry,) = situation(judged((unknown,)), {}).worries
    assert "not known" in worry.stake
    assert "nothing" not in worry.stake


def test_findings_are_shown_failures_first_and_conformity_last() -> None:
    found = tuple(a_finding("age", answer, answer) for answer in reversed(Answer))
    assert [each.answer for each in by_weight(found)] == [
        Answer.NONCONFORMITY,
        Answer.UNVERIFIED,
        Answer.WAIVED,
        Answer.OBSERVATION,
        Answer.CONFORMITY,
    ]

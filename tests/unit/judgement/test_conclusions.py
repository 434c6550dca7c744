"""Conclusions in Kleene's strong logic of three values (from memory), checked by trying every assignment."""

from __future__ import annotations

from itertools import product

import pytest
from hypothesis import given
from hypothesis import strategies as st

from coverage_audit.judgement.conclusions import conclude, conclude_estate, waived, worst
from coverage_audit.judgement.verdict import Answer, Conclusion, Finding

CRITERIA = [Answer.CONFORMITY, Answer.NONCONFORMITY, Answer.UNVERIFIED]


def a_finding(answer: Answer) -> Finding:
    return Finding(rule="age", subject="x", answer=answer, measured="", required="", message="", mend="")


@given(st.lists(st.sampled_from(CRITERIA), min_size=1, max_size=6))
def test_a_conclusion_is_that_of_all_assignments_of_the_unknown(answers: list[Answer]) -> None:
    options = [[True, False] if a is Answer.UNVERIFIED else [a is Answer.CONFORMITY] for a in answers]
    outcomes = {all(way) for way in product(*options)}
    expected = {
        frozenset({True}): Conclusion.CONFORMING,
        frozenset({False}): Conclusion.NONCONFORMING,
    }.get(frozenset(outcomes), Conclusion.UNVERIFIED)

    assert conclude(map(a_finding, answers)) is expected


def test_a_failure_and_an_unknown_together_are_nonconforming() -> None:
    answers = [Answer.NONCONFORMITY, Answer.UNVERIFIED, Answer.CONFORMITY]

    assert conclude(map(a_finding, answers)) is Conclusion.NONCONFORMING


@pytest.mark.parametrize("answers", [[], [Answer.OBSERVATION], [Answer.WAIVED], [Answer.UNVERIFIED]])
def test_zero_of_zero_criteria_conclude_nothing(answers: list[Answer]) -> None:
    assert conclude(map(a_finding, answers)) is Conclusion.UNVERIFIED


def test_observations_and_waivers_let_the_rest_conform() -> None:
    found = [a_finding(a) for a in (Answer.CONFORMITY, Answer.OBSERVATION, Answer.WAIVED, Answer.WAIVED)]

    assert conclude(found) is Conclusion.CONFORMING
    assert waived(found) == 2


@pytest.mark.parametrize(
    ("datasets", "own", "expected"),
    [
        ([], [], Conclusion.UNVERIFIED),
        ([Conclusion.CONFORMING], [Answer.CONFORMITY], Conclusion.CONFORMING),
        ([Conclusion.CONFORMING], [], Conclusion.CONFORMING),
        ([Conclusion.CONFORMING, Conclusion.UNVERIFIED], [], Conclusion.UNVERIFIED),
        ([Conclusion.CONFORMING, Conclusion.NONCONFORMING, Conclusion.UNVERIFIED], [], Conclusion.NONCONFORMING),
        ([Conclusion.CONFORMING], [Answer.NONCONFORMITY], Conclusion.NONCONFORMING),
        ([Conclusion.CONFORMING], [Answer.UNVERIFIED, Answer.OBSERVATION], Conclusion.UNVERIFIED),
    ],
)
def test_the_estate_is_as_good_as_its_worst(
    datasets: list[Conclusion], own: list[Answer], expected: Conclusion
) -> None:
    assert conclude_estate(datasets, map(a_finding, own)) is expected


def test_the_worst_answer_is_a_nonconformity_and_of_none_there_is_nothing_bad() -> None:
    assert worst(CRITERIA) is Answer.NONCONFORMITY
    assert worst([Answer.CONFORMITY, Answer.OBSERVATION]) is Answer.CONFORMITY
    assert worst([]) is Answer.CONFORMITY

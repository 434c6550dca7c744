"""The laws with what devices share, and with a time to restore: less evidence and more faults conform to nothing."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from datetime import timedelta

from hypothesis import given, settings
from hypothesis import strategies as st

from coverage_audit.estate.model import Device
from coverage_audit.evidence.measured import MeasuredRate
from coverage_audit.judgement.case import DatasetCase
from coverage_audit.judgement.verdict import Answer, Conclusion, Finding
from tests.builders.cases import judged
from tests.builders.spoiling import AVOCET, all_well, steps
from tests.builders.station import CURLEW, HERON, KESTREL, POLICY, an_estate

SHARED = (("room", "lab"), ("room", "loft"), ("account", "admin"))
BOXES = (KESTREL, HERON, CURLEW, AVOCET)


def measured(case: DatasetCase, rate: int) -> DatasetCase:
    volumes = [copy.copy.address.volume for copy in case.copies]
    return replace(case, rates=tuple(MeasuredRate(volume=volume, rate=rate) for volume in volumes))


def answer(case: DatasetCase, rule: str, *boxes: Device) -> tuple[Answer | None, Conclusion]:
    dataset = judged(case, an_estate(*(boxes or BOXES))).datasets[0]
    found: list[Finding] = [finding for finding in dataset.findings if finding.rule == rule]
    return (found[0].answer if found else None), dataset.conclusion


LESS: dict[str, Callable[[DatasetCase], DatasetCase]] = {
    "no rates": lambda case: replace(case, rates=()),
    "fewer rates": lambda case: replace(case, rates=case.rates[1:]),
    "slower": lambda case: replace(case, rates=tuple(replace(one, rate=max(1, one.rate // 100)) for one in case.rates)),
}


@settings(max_examples=150, deadline=None)
@given(
    st.sampled_from([timedelta(seconds=1), timedelta(hours=1), timedelta(days=300)]),
    st.lists(st.one_of(steps(), st.sampled_from(sorted(LESS)).map(LESS.__getitem__)), min_size=1, max_size=5),
)
def test_a_dataset_that_is_not_shown_to_be_back_in_time_never_conforms_for_less(
    within: timedelta, changes: list[Callable[[DatasetCase], DatasetCase]]
) -> None:
    case = replace(all_well(), policy=replace(POLICY, restore_within=within))
    case = measured(case, 100_000_000)
    _, conclusion = answer(case, "restore-time")
    for change in changes:
        case = change(case)
        now, concluded = answer(case, "restore-time")
        if now is not Answer.CONFORMITY:
            assert concluded is not Conclusion.CONFORMING
        if conclusion is not Conclusion.CONFORMING:
            assert concluded is not Conclusion.CONFORMING
        conclusion = concluded


def test_the_case_with_a_rate_conforms() -> None:
    case = replace(all_well(), policy=replace(POLICY, restore_within=timedelta(hours=1)))
    case = measured(case, 100_000_000)

    assert answer(case, "restore-time") == (Answer.CONFORMITY, Conclusion.CONFORMING)


@settings(max_examples=150, deadline=None)
@given(st.data(), st.lists(steps(), max_size=5))
def test_where_one_failure_takes_all_that_is_shown_less_evidence_shows_nothing_better(
    data: st.DataObject, changes: list[Callable[[DatasetCase], DatasetCase]]
) -> None:
    shares = data.draw(st.lists(st.sampled_from(SHARED), min_size=len(BOXES), max_size=len(BOXES)))
    boxes = [replace(box, failure_domains=(shared,)) for box, shared in zip(BOXES, shares, strict=True)]
    case = all_well()
    found, conclusion = answer(case, "one-failure", *boxes)
    for change in [lambda same: same, *changes]:
        case = change(case)
        now, concluded = answer(case, "one-failure", *boxes)
        if conclusion is not Conclusion.CONFORMING:
            assert concluded is not Conclusion.CONFORMING
        if now in {Answer.NONCONFORMITY, Answer.UNVERIFIED}:
            assert concluded is not Conclusion.CONFORMING
        if found is Answer.NONCONFORMITY:
            assert now is not Answer.CONFORMITY
        found, conclusion = now, concluded


def test_everything_in_one_room_fails_where_all_else_is_well() -> None:
    boxes = [replace(box, failure_domains=(("room", "lab"),)) for box in BOXES]

    assert answer(all_well(), "one-failure", *boxes) == (Answer.NONCONFORMITY, Conclusion.NONCONFORMING)

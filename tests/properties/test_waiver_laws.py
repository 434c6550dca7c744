"""The laws of waivers, over spoiled cases: no other finding is touched, and nothing grave ever conforms by one."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta
from typing import Any

from hypothesis import given, settings
from hypothesis import strategies as st

from coverage_audit.evidence.facts import IdentityCheck
from coverage_audit.judgement.accepting import with_waivers
from coverage_audit.judgement.verdict import Answer, Conclusion, Finding, JudgedEstate, Standing
from coverage_audit.judgement.waiving import ASKED, Waiver
from tests.builders.spoiling import Step, all_well, audited, steps
from tests.builders.station import POLICY

POLICIES = st.builds(
    lambda copies, media, offsite: replace(POLICY, copies=copies, media=media, offsite=offsite),
    st.integers(1, 5),
    st.sampled_from([None, 1, 2]),
    st.sampled_from([None, 1, 2]),
)
SPOILED = st.lists(steps(), max_size=6)


def spoiled(policy: Any, changes: list[Step]) -> JudgedEstate:
    case = replace(all_well(), policy=policy)
    for change in changes:
        case = change(case)
    return audited(case)


def every(judged: JudgedEstate) -> list[Finding]:
    return [*judged.findings, *(finding for dataset in judged.datasets for finding in dataset.findings)]


def waivers_for(judged: JudgedEstate, chosen: Any = None) -> list[Waiver]:
    """A waiver for each open finding (or those chosen), also for those that cannot be waived."""
    return [
        Waiver(
            number=number,
            name=finding.id,
            finding=finding,
            who="Aoife",
            why="the drive is on its way",
            given=judged.started,
            until=judged.finished + timedelta(days=30),
        )
        for number, finding in enumerate(every(judged))
        if finding.answer in ASKED and (chosen is None or chosen.random() < 0.5)
    ]


@settings(max_examples=150, deadline=None)
@given(POLICIES, SPOILED, st.randoms())
def test_a_waiver_makes_no_other_finding_disappear_or_change(policy: Any, changes: list[Step], chance: Any) -> None:
    judged = spoiled(policy, changes)
    waivers = waivers_for(judged, chance)
    after = with_waivers(judged, waivers).judged

    assert [finding.id for finding in every(after)] == [finding.id for finding in every(judged)]
    names = {waiver.name for waiver in waivers}
    for before, now in zip(every(judged), every(after), strict=True):
        if before.id not in names:
            assert now == before
        assert now.answer in {before.answer, Answer.WAIVED}
    assert after.waived == sum(finding.answer is Answer.WAIVED for finding in every(after))


@settings(max_examples=250, deadline=None)
@given(POLICIES, SPOILED)
def test_nothing_damaged_and_no_other_volume_ever_conforms_by_a_waiver(policy: Any, changes: list[Step]) -> None:
    judged = spoiled(policy, changes)
    after = with_waivers(judged, waivers_for(judged)).judged
    (before,), (now,) = judged.datasets, after.datasets

    places = [before.original.evidence.place, *(copy.evidence.place for copy in before.copies)]
    swapped = any(isinstance(place.identity, IdentityCheck) and not place.identity.trusted for place in places)
    damaged = any(copy.standing is Standing.DAMAGED for copy in before.copies)
    counts = {"enough-copies", "media", "offsite", "offline"}
    if (swapped or damaged) and any(f.answer in ASKED and f.rule in counts for f in before.findings):
        assert now.conclusion is not Conclusion.CONFORMING


@settings(max_examples=150, deadline=None)
@given(POLICIES, SPOILED)
def test_where_nothing_is_grave_waivers_for_all_that_is_open_let_it_conform(policy: Any, changes: list[Step]) -> None:
    judged = spoiled(policy, changes)
    after = with_waivers(judged, waivers_for(judged)).judged

    grave = [finding for finding in every(judged) if finding.answer in ASKED and not finding.waivable]
    held_back = [f for f in every(after) if f.answer in ASKED and f.rule != "every-dataset"]
    assert {finding.id for finding in held_back} == {finding.id for finding in grave}


@settings(max_examples=100, deadline=None)
@given(POLICIES, SPOILED)
def test_after_its_end_the_conclusion_is_as_without_it(policy: Any, changes: list[Step]) -> None:
    judged = spoiled(policy, changes)
    over = [replace(waiver, until=judged.finished) for waiver in waivers_for(judged)]
    outcome = with_waivers(judged, over)
    after = outcome.judged

    assert after.conclusion is judged.conclusion
    assert after.waived == 0
    assert [(f.id, f.answer) for f in every(after)] == [(f.id, f.answer) for f in every(judged)]
    assert all(fate.ended for fate in outcome.fates)


@settings(max_examples=150, deadline=None)
@given(POLICIES, SPOILED, SPOILED)
def test_a_waiver_given_before_more_went_wrong_leaves_nothing_but_waived_findings_waived(
    policy: Any, first: list[Step], then: list[Step]
) -> None:
    early = spoiled(policy, first)
    late = spoiled(policy, [*first, *then])
    waivers = waivers_for(early)
    after = with_waivers(late, waivers).judged
    named = {waiver.name: waiver.finding for waiver in waivers}

    for finding in every(after):
        if finding.answer is Answer.WAIVED:
            then_it_was = named[finding.id]
            assert finding.acceptance is not None
            assert then_it_was.answer is Answer.NONCONFORMITY or finding.acceptance.answer is Answer.UNVERIFIED
            assert then_it_was.degree is None or (finding.degree is not None and finding.degree <= then_it_was.degree)

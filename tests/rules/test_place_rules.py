"""The rules that speak of one place: their answers, and how far a place is needed for them to be criteria."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta
from typing import Any

import pytest

from coverage_audit.estate.criteria import UnjudgedCriterion
from coverage_audit.evidence.difference import Tally
from coverage_audit.evidence.facts import GapKind, PinState
from coverage_audit.judgement.case import CopyEvidence, DatasetCase
from coverage_audit.judgement.verdict import Answer, Finding
from tests.builders.cases import (
    a_case,
    a_copy,
    a_gap,
    a_manifest,
    a_place,
    an_identity,
    an_original,
    judged_dataset,
    lacking,
)
from tests.builders.station import CURLEW, HERON, KESTREL, POLICY, RECORDINGS, STARTED

NEAR, FAR = RECORDINGS.copies
FEW = Tally(files=3, bytes=3_000)
STALE = lacking(3, 3_000, counting=FEW, counting_rows=3)
HOLED = replace(STALE, holds_newer=True)
UNTOLD = lacking(3, 3_000, between=FEW, between_rows=3)
ENOUGH = replace(POLICY, copies=2, media=None, offsite=None)


def about(case: DatasetCase, rule: str, where: str = "heron") -> Finding:
    (found,) = [f for f in judged_dataset(case).findings if f.rule == rule and f"@{where}:" in f.subject]
    return found


def with_near(*, needed: bool = True, **values: Any) -> DatasetCase:
    return a_case(a_copy(HERON, NEAR, **values), a_copy(CURLEW, FAR), policy=POLICY if needed else ENOUGH)


def test_age_measures_the_proven_recovery_point_against_the_copys_own_max_age() -> None:
    good = about(with_near(), "age")
    assert good.answer is Answer.CONFORMITY
    assert good.required == "not older than 26 h"

    stale = about(with_near(comparison=STALE), "age")
    assert stale.answer is Answer.NONCONFORMITY
    assert stale.measured == "2026-11-14 04:10 GMT, 11 days ago"
    assert "stands still since 2026-11-14 04:10 GMT" in stale.message

    patient: CopyEvidence = a_copy(HERON, replace(NEAR, max_age=timedelta(days=35)))
    assert about(a_case(patient, a_copy(CURLEW, FAR)), "age").required == "not older than 35 days"


def test_an_incomplete_copy_is_not_blamed_for_its_age_as_well() -> None:
    case = with_near(comparison=HOLED)

    assert about(case, "age").answer is Answer.OBSERVATION
    assert about(case, "completeness").answer is Answer.NONCONFORMITY


def test_a_stale_copy_is_whole_as_of_its_recovery_point() -> None:
    assert about(with_near(comparison=STALE), "completeness").answer is Answer.CONFORMITY


@pytest.mark.parametrize("rule", ["age", "completeness", "evidence-age"])
def test_what_cannot_be_told_is_unverified_in_every_rule_that_would_need_it(rule: str) -> None:
    assert about(with_near(comparison=UNTOLD), rule).answer is Answer.UNVERIFIED
    assert about(with_near(comparison=UNTOLD, needed=False), rule).answer is Answer.OBSERVATION


@pytest.mark.parametrize(("comparison", "rule"), [(STALE, "age"), (HOLED, "completeness")])
def test_a_defect_of_a_copy_that_is_not_needed_or_may_not_be_is_an_observation(comparison: Any, rule: str) -> None:
    gap = a_gap("curlew")
    unseen = a_copy(CURLEW, FAR, comparison=None, tree_at=None, gap=gap)
    open_count = a_case(a_copy(HERON, NEAR, comparison=comparison), unseen, policy=ENOUGH)

    assert about(with_near(comparison=comparison, needed=False), rule).answer is Answer.OBSERVATION
    assert about(open_count, rule).answer is Answer.OBSERVATION


@pytest.mark.parametrize("state", [PinState.CHANGED, PinState.ASKED])
def test_identity_is_said_with_all_that_differs(state: PinState) -> None:
    place = a_place(HERON, identity=an_identity(HERON.volumes[0], state, "filesystem UUID was a, is now b"))

    found = about(with_near(place=place), "mount-and-identity")

    assert found.answer is Answer.UNVERIFIED
    assert "filesystem UUID was a, is now b" in found.message
    assert about(with_near(place=place, needed=False), "mount-and-identity").answer is Answer.OBSERVATION


@pytest.mark.parametrize("state", [PinState.PINNED_NOW, PinState.AS_PINNED, PinState.BY_CONTENT])
def test_a_trusted_identity_conforms(state: PinState) -> None:
    place = a_place(HERON, identity=an_identity(HERON.volumes[0], state))

    assert about(with_near(place=place), "mount-and-identity").answer is Answer.CONFORMITY


def test_a_finding_about_an_open_question_stays_open_when_the_evidence_goes() -> None:
    place = a_place(HERON, identity=an_identity(HERON.volumes[0], PinState.CHANGED, "filesystem UUID was a, is now b"))
    gap = a_gap()
    dark = a_place(HERON, device_facts=gap, volume_facts=gap, identity=gap)
    before = {f.id for f in judged_dataset(with_near(place=place)).findings if f.answer is Answer.UNVERIFIED}
    after = {
        f.id
        for f in judged_dataset(with_near(place=dark, comparison=None, gap=gap, tree_at=None)).findings
        if f.answer is Answer.UNVERIFIED
    }

    assert before <= after, "else the ledger would record that it recovered"


def test_an_original_whose_box_may_be_off_leaves_the_word_to_its_copies() -> None:
    sleeper = replace(KESTREL, may_be_off=timedelta(days=3))
    then = a_manifest(RECORDINGS.original, at=STARTED - timedelta(hours=20))
    gap = a_gap("kestrel")
    dark = a_place(sleeper, device_facts=gap, volume_facts=gap, identity=gap)
    off = an_original(place=dark, tree=gap, as_of=then)
    case = a_case(original=off, policy=ENOUGH)

    assert judged_dataset(case).conclusion == "conforming"
    for rule in ("evidence-age", "completeness", "mount-and-identity"):
        assert about(case, rule, "kestrel").answer is Answer.OBSERVATION
    without_leave = replace(case, original=replace(off, place=replace(dark, device=KESTREL)))
    assert about(without_leave, "evidence-age", "kestrel").answer is Answer.UNVERIFIED
    too_long = a_manifest(RECORDINGS.original, at=STARTED - timedelta(days=4))
    beyond = replace(case, original=replace(off, as_of=too_long))
    assert about(beyond, "evidence-age", "kestrel").answer is Answer.UNVERIFIED
    refused = a_gap("kestrel", GapKind.HOST_KEY)
    changed_key = replace(case, original=replace(off, tree=refused, place=replace(dark, device_facts=refused)))
    assert about(changed_key, "evidence-age", "kestrel").answer is Answer.UNVERIFIED


def test_a_criterion_that_cannot_be_judged_yet_is_never_silent() -> None:
    verify = UnjudgedCriterion(name="verify", text="confidence: 95%")
    drill = UnjudgedCriterion(name="drill", text="every 90d")
    dataset = judged_dataset(a_case(policy=replace(POLICY, unjudged=(verify, drill))))

    found = [f for f in dataset.findings if f.rule == "unjudged-criterion"]

    assert [f.id for f in found] == [
        "unjudged-criterion:field-recordings/verify",
        "unjudged-criterion:field-recordings/drill",
    ]
    assert {f.answer for f in found} == {Answer.UNVERIFIED}
    assert found[0].control == "supports evidence for NIST SP 800-53 Rev. 5 CP-9"
    assert dataset.conclusion == "unverified"

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta
from typing import Any

import pytest

from coverage_audit.estate.access import ShelfAccess
from coverage_audit.estate.model import Copy, DatasetId, Device
from coverage_audit.evidence.facts import DeviceFacts, Gap, GapKind, PinState
from coverage_audit.judgement.judge import judge
from coverage_audit.judgement.verdict import Answer, Conclusion, Finding, JudgedEstate
from tests.builders.cases import a_case, a_copy, a_gap, a_place, an_identity, device_facts, judged
from tests.builders.station import (
    CURLEW,
    FINISHED,
    HERON,
    KESTREL,
    POLICY,
    RECORDINGS,
    STARTED,
    a_device,
    a_volume,
    an_address,
    an_estate,
)

NEAR, FAR = RECORDINGS.copies


def clock_of(audit: JudgedEstate, device: str) -> Finding:
    (found,) = [f for f in audit.findings if f.id == f"clocks:{device}"]
    return found


def with_heron(facts: DeviceFacts | Gap, device: Device = HERON) -> JudgedEstate:
    return judged(a_case(a_copy(device, NEAR, place=a_place(device, device_facts=facts)), a_copy(CURLEW, FAR)))


@pytest.mark.parametrize(
    ("facts", "answer"),
    [
        ({}, Answer.CONFORMITY),
        ({"clock_offset": timedelta(minutes=-2), "clock_uncertainty": None}, Answer.CONFORMITY),
        ({"clock_offset": timedelta(minutes=5)}, Answer.NONCONFORMITY),
        ({"clock_offset": timedelta(hours=-1)}, Answer.NONCONFORMITY),
        ({"clock_offset": timedelta(minutes=3), "clock_uncertainty": timedelta(minutes=2)}, Answer.UNVERIFIED),
        ({"clock_offset": None}, Answer.UNVERIFIED),
    ],
)
def test_a_clock_is_held_against_the_tolerance_as_exactly_as_it_is_known(facts: dict[str, Any], answer: Answer) -> None:
    assert clock_of(with_heron(device_facts("heron", **facts)), "heron").answer is answer


def test_clocks_that_disagree_count_for_the_estates_conclusion() -> None:
    spare = a_copy(
        HERON, NEAR, place=a_place(HERON, device_facts=device_facts("heron", clock_offset=timedelta(hours=1)))
    )
    enough = replace(POLICY, copies=2, media=None)

    audit = judged(a_case(spare, a_copy(CURLEW, FAR), policy=enough))

    assert audit.datasets[0].conclusion is Conclusion.CONFORMING
    assert audit.conclusion is Conclusion.NONCONFORMING


def test_the_clock_of_a_device_that_was_not_seen_is_unverified_unless_it_may_be_off() -> None:
    assert clock_of(with_heron(a_gap()), "heron").answer is Answer.UNVERIFIED
    sleeper = replace(HERON, may_be_off=timedelta(days=3))
    assert clock_of(with_heron(a_gap(), sleeper), "heron").answer is Answer.OBSERVATION
    refused = a_gap("heron", GapKind.HOST_KEY)
    assert clock_of(with_heron(refused, sleeper), "heron").answer is Answer.UNVERIFIED


def test_a_drive_on_a_shelf_has_no_clock() -> None:
    shelf = a_device("shelf-b", a_volume("shelf-b:drive"), access=ShelfAccess())
    dark = a_place(shelf, device_facts=a_gap("shelf-b", GapKind.SHELF))
    copy = a_copy(shelf, Copy(address=an_address("shelf-b:drive/recordings")), place=dark)

    assert not [f for f in judged(a_case(copy)).findings if f.id == "clocks:shelf-b"]


def test_a_declared_dataset_that_was_not_judged_is_never_silence() -> None:
    other = replace(RECORDINGS, id=DatasetId("survey-sheets"))
    estate = an_estate(datasets=(RECORDINGS, other))
    moments: dict[str, Any] = {"started": STARTED, "finished": FINISHED, "identities": (), "gaps": ()}

    whole = judge(estate, [a_case()], **moments)
    part = judge(estate, [a_case()], **moments, whole=False)

    assert whole.conclusion is Conclusion.UNVERIFIED
    (found,) = [f for f in whole.findings if f.rule == "every-dataset"]
    assert found.message == "Not judged: survey-sheets."
    assert found.measured == "1 judged of 2 declared"
    assert part.conclusion is Conclusion.CONFORMING
    assert not part.whole


def test_a_declared_copy_without_evidence_of_any_kind_is_said() -> None:
    case = a_case()
    short = replace(case, copies=case.copies[:1], policy=replace(POLICY, copies=2, media=None, offsite=None))
    estate = an_estate(datasets=(case.dataset,))
    moments: dict[str, Any] = {"started": STARTED, "finished": FINISHED, "identities": (), "gaps": ()}

    audit = judge(estate, [short], **moments)

    (found,) = [f for f in audit.findings if f.rule == "every-dataset"]
    assert found.message == "Not judged: field-recordings at curlew:store/recordings."


def test_a_volume_without_a_dataset_that_changed_is_an_observation() -> None:
    spare = a_device("dunlin", a_volume("dunlin:spare"))
    checks = (
        an_identity(spare.volumes[0], PinState.CHANGED, "filesystem UUID was a, is now b"),
        an_identity(HERON.volumes[0], PinState.CHANGED, "said by its datasets"),
    )

    audit = judged(a_case(), an_estate(KESTREL, HERON, CURLEW, spare), identities=checks)

    assert [f.id for f in audit.findings if f.answer is Answer.OBSERVATION] == ["other-volumes:dunlin:spare"]
    assert audit.conclusion is Conclusion.CONFORMING


def test_an_estate_without_datasets_is_not_covered() -> None:
    moments: dict[str, Any] = {"started": STARTED, "finished": FINISHED, "identities": (), "gaps": ()}

    assert judge(an_estate(datasets=()), [], **moments).conclusion is Conclusion.UNVERIFIED

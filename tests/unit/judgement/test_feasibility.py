from __future__ import annotations

from dataclasses import replace
from datetime import timedelta
from typing import Any

import pytest

from coverage_audit.estate.model import Copy, Estate, Medium, Policy, Proof
from coverage_audit.judgement.feasibility import cannot_be_met
from coverage_audit.judgement.verdict import Answer
from tests.builders.cases import a_case, judged_dataset
from tests.builders.station import CURLEW, HERON, KESTREL, POLICY, RECORDINGS, a_device, a_volume, an_address, an_estate


def asking(**values: Any) -> Policy:
    return replace(POLICY, **values)


def found(estate: Estate) -> list[tuple[str, str]]:
    return [(finding.id, str(finding.answer)) for finding in cannot_be_met(estate)]


def test_a_policy_that_can_be_met_gives_no_finding() -> None:
    assert cannot_be_met(an_estate()) == ()


@pytest.mark.parametrize(
    ("asked", "criterion"),
    [({"copies": 4}, "copies"), ({"media": 3}, "media"), ({"offsite": 2}, "offsite"), ({"offline": 1}, "offline")],
)
def test_what_the_declared_places_can_never_give_is_said_before_anything_is_walked(
    asked: dict[str, int], criterion: str
) -> None:
    estate = an_estate(policies=(asking(**asked),))

    assert found(estate) == [(f"feasibility:field-recordings/{criterion}", "nonconformity")]


def test_places_that_fall_together_by_declaration_are_counted_once() -> None:
    guest = a_device("heron", a_volume("heron:pool"), runs_on=KESTREL.id)
    stored = a_device("curlew", a_volume("curlew:store", medium=Medium.SSD, stored_on=KESTREL.volumes[0].key))

    assert ("feasibility:field-recordings/copies", "nonconformity") in found(an_estate(KESTREL, guest, CURLEW))
    messages = [finding.message for finding in cannot_be_met(an_estate(KESTREL, guest, stored))]
    assert "can never have more than 1 apart from each other" in messages[0]


@pytest.mark.parametrize("proof", [Proof.SAMPLED, Proof.RESTORED])
def test_a_sample_of_the_content_and_a_drill_can_be_shown(proof: Proof) -> None:
    assert found(an_estate(policies=(asking(proof=proof),))) == []


def test_a_device_that_may_be_off_longer_than_its_copy_may_be_behind_is_an_observation() -> None:
    sleeper = replace(HERON, may_be_off=timedelta(days=3))

    (finding,) = cannot_be_met(an_estate(KESTREL, sleeper, CURLEW))

    assert finding.answer is Answer.OBSERVATION
    assert finding.id == "feasibility:field-recordings@heron:pool/mirror/recordings"


def test_a_dataset_without_copies_can_never_have_three() -> None:
    alone = replace(RECORDINGS, copies=())

    assert ("feasibility:field-recordings/copies", "nonconformity") in found(an_estate(datasets=(alone,)))


def test_what_can_never_be_met_is_among_the_findings_of_the_dataset() -> None:
    dataset = judged_dataset(a_case(policy=asking(copies=4)))

    assert [f.id for f in dataset.findings if f.rule == "feasibility"] == ["feasibility:field-recordings/copies"]
    assert dataset.conclusion == "nonconforming"


def test_two_copies_on_one_device_are_one_place() -> None:
    twice = replace(
        RECORDINGS, copies=(RECORDINGS.copies[0], Copy(address=an_address("heron:pool/.points/recordings")))
    )

    messages = [finding.message for finding in cannot_be_met(an_estate(datasets=(twice,)))]
    assert any("more than 2 apart from each other" in message for message in messages)

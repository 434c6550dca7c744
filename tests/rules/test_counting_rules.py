"""The rules that count: when each fires, when it stays silent, and what it says."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta
from typing import Any

from coverage_audit.estate.model import Attestation, DatasetId, Medium, Policy, Proof
from coverage_audit.estate.sources import DatedFolders
from coverage_audit.evidence.difference import Mode
from coverage_audit.judgement.case import CopyEvidence
from coverage_audit.judgement.verdict import Answer, Finding, JudgedDataset
from tests.builders.cases import (
    a_case,
    a_comparison,
    a_copy,
    a_dated_copy,
    a_gap,
    a_place,
    a_point,
    device_facts,
    judged_dataset,
    volume_facts,
)
from tests.builders.station import CURLEW, HERON, KESTREL, POLICY, RECORDINGS, STARTED, a_device, a_volume, an_estate

NEAR, FAR = RECORDINGS.copies


def finding(dataset: JudgedDataset, rule: str) -> Finding:
    (found,) = [f for f in dataset.findings if f.rule == rule]
    return found


def asking(**values: Any) -> Policy:
    return replace(POLICY, **values)


def test_enough_copies_carries_all_that_a_person_needs() -> None:
    found = finding(judged_dataset(a_case()), "enough-copies")

    assert found.id == "enough-copies:field-recordings"
    assert found.answer is Answer.CONFORMITY
    assert found.measured == "3 proven and apart"
    assert found.required == "at least 3 copies, the original counted as one"
    assert "kestrel:main/recordings (the original)" in found.message
    assert found.mend
    assert found.control == "supports evidence for NIST SP 800-53 Rev. 5 CP-9"
    assert [item.where for item in found.evidence] == [
        "kestrel:main/recordings",
        "heron:pool/mirror/recordings",
        "curlew:store/recordings",
    ]


def test_enough_copies_says_what_is_not_counted_and_why_and_what_it_might_be() -> None:
    off = a_gap()
    place = a_place(HERON, device_facts=off, volume_facts=off, identity=off)
    case = a_case(a_copy(HERON, NEAR, place=place, comparison=None, gap=off, tree_at=None), a_copy(CURLEW, FAR))

    found = finding(judged_dataset(case), "enough-copies")

    assert found.answer is Answer.UNVERIFIED
    assert found.measured == "2 (up to 3) proven and apart"
    assert (
        "heron:pool/mirror/recordings is unverified (it was not seen: unreachable (no route to host))" in found.message
    )


def test_enough_copies_says_how_many_rest_on_dates_or_sizes_alone() -> None:
    by_size = a_copy(HERON, NEAR, comparison=a_comparison(mode=Mode(granularity_ns=1, by_size=True)))
    declared = replace(FAR, points=DatedFolders(pattern="%Y"), proof=Proof.DATED)
    dated = a_dated_copy(CURLEW, a_point("p", STARTED), copy=declared, comparison=None, tree_at=None, point=None)

    message = finding(judged_dataset(a_case(by_size, dated)), "enough-copies").message

    assert "1 of them rests on dates alone; 1 of them rests on sizes alone" in message


def test_criteria_that_a_policy_does_not_name_give_no_finding() -> None:
    plain = judged_dataset(a_case(policy=asking(media=None, offsite=None)))

    assert not {"media", "offsite", "offline"} & {f.rule for f in plain.findings}


def test_media_is_not_believed_where_the_drive_speaks_against_it() -> None:
    store = a_place(CURLEW, volume_facts=volume_facts(CURLEW.volumes[0], rotational=True))

    found = finding(judged_dataset(a_case(a_copy(HERON, NEAR), a_copy(CURLEW, FAR, place=store))), "media")

    assert found.answer is Answer.UNVERIFIED
    assert "curlew:store is declared ssd, and its drive shows that it turns" in found.message


def test_media_counts_over_proven_copies_only() -> None:
    silent = a_copy(CURLEW, FAR, comparison=None, tree_at=None, gap=a_gap("curlew"))

    assert finding(judged_dataset(a_case(a_copy(HERON, NEAR), silent)), "media").answer is Answer.UNVERIFIED


def test_offline_is_not_what_was_attached_in_this_audit() -> None:
    curlew = a_device("curlew", a_volume("curlew:store", medium=Medium.SSD, offline=True), site=CURLEW.site)
    sleeper = replace(curlew, may_be_off=timedelta(days=3))
    policy = asking(offline=1)
    now = a_case(a_copy(HERON, NEAR), a_copy(curlew, FAR), policy=policy)
    before = a_case(a_copy(HERON, NEAR), a_copy(sleeper, FAR, tree_at=STARTED - timedelta(days=1)), policy=policy)

    attached = finding(judged_dataset(now), "offline")
    assert attached.answer is Answer.UNVERIFIED
    assert "was attached in this audit" in attached.message
    assert finding(judged_dataset(before), "offline").answer is Answer.CONFORMITY
    rehearsed = judged_dataset(now, an_estate(KESTREL, HERON, curlew, rehearsal=True))
    assert finding(rehearsed, "offline").answer is Answer.CONFORMITY


def test_no_offline_volume_at_all_is_a_nonconformity() -> None:
    assert finding(judged_dataset(a_case(policy=asking(offline=1))), "offline").answer is Answer.NONCONFORMITY


def test_an_attestation_stands_beside_the_conclusion() -> None:
    words = "bought by two people in two years"
    attesting = replace(
        HERON, attested_apart=tuple(Attestation(other=device.id, statement=words) for device in (KESTREL, CURLEW))
    )
    silent = a_place(attesting, device_facts=device_facts("heron", machine_id=None))

    dataset = judged_dataset(a_case(a_copy(attesting, NEAR, place=silent), a_copy(CURLEW, FAR)))

    assert dataset.conclusion == "conforming"
    found = finding(dataset, "independence")
    assert found.answer is Answer.CONFORMITY
    assert words in found.message


def test_two_places_that_are_one_are_said_even_where_enough_others_remain() -> None:
    twin = a_place(HERON, device_facts=device_facts("kestrel", device=HERON.id))
    case = a_case(a_copy(HERON, NEAR, place=twin), a_copy(CURLEW, FAR), policy=asking(copies=2))

    found = finding(judged_dataset(case), "independence")

    assert found.answer is Answer.OBSERVATION
    assert "one host key" in found.message


def test_two_copies_on_one_device_by_declaration_are_no_news() -> None:
    second: CopyEvidence = a_copy(HERON, replace(NEAR, address=replace(NEAR.address, path="second")))
    case = a_case(a_copy(HERON, NEAR), second, a_copy(CURLEW, FAR))

    found = finding(judged_dataset(case), "independence")

    assert found.answer is Answer.CONFORMITY
    assert finding(judged_dataset(case), "enough-copies").measured == "3 proven and apart"


def test_one_snapshot_reported_under_two_addresses_counts_once() -> None:
    bittern = a_device("bittern", a_volume("bittern:pool"))
    same = a_place(bittern, volume_facts=volume_facts(bittern.volumes[0], filesystem_uuid="uuid-heron:pool"))
    second = a_copy(bittern, replace(NEAR, address=replace(NEAR.address, volume=bittern.volumes[0].key)), place=same)

    found = finding(judged_dataset(a_case(a_copy(HERON, NEAR), second, a_copy(CURLEW, FAR))), "enough-copies")

    assert found.measured == "3 proven and apart"


def test_a_dataset_id_with_hostile_letters_gives_a_typable_finding() -> None:
    odd = replace(RECORDINGS, id=DatasetId("field $(reboot)"))

    found = finding(judged_dataset(a_case(dataset=odd)), "enough-copies")

    assert found.id == "enough-copies:field%20%24%28reboot%29"

"""Copies that are made of copies, by declaration and by what they have in common."""

from __future__ import annotations

from dataclasses import replace

import pytest

from coverage_audit.estate.model import Copy
from coverage_audit.evidence.difference import Mode, Tally
from coverage_audit.evidence.facts import PinState
from coverage_audit.evidence.kinship import Alike, Resemblance
from coverage_audit.judgement.case import CopyEvidence, DatasetCase
from coverage_audit.judgement.descent import sources_of
from coverage_audit.judgement.verdict import Answer, Finding, Standing
from tests.builders.cases import a_case, a_comparison, a_copy, a_gap, a_place, an_identity, judged_dataset
from tests.builders.station import CURLEW, HERON, POLICY, RECORDINGS, an_address

NEAR, FAR = RECORDINGS.copies
OF_HERON = replace(FAR, taken_from=NEAR.address)
DAMAGED = a_comparison(own=Tally(files=2, bytes=10), changed=Tally(files=2, bytes=10))
BY_DIGEST = a_comparison(mode=Mode(granularity_ns=1, digest="sha256"))


def lineage(case: DatasetCase) -> list[Finding]:
    return [f for f in judged_dataset(case).findings if f.rule == "lineage"]


def chained(source: CopyEvidence, **values: object) -> DatasetCase:
    return a_case(source, replace(a_copy(CURLEW, OF_HERON), **values))  # type: ignore[arg-type]


def test_a_copy_of_a_copy_says_so_with_the_whole_way() -> None:
    case = chained(a_copy(HERON, NEAR))

    (found,) = lineage(case)
    copy = judged_dataset(case).copies[1]

    way = "kestrel:main/recordings → heron:pool/mirror/recordings → curlew:store/recordings"
    assert (found.answer, found.measured) == (Answer.CONFORMITY, way)
    assert copy.standing is Standing.PROVEN
    assert any("it is made of heron:pool/mirror/recordings, not of the original" in said for said in copy.remarks)


@pytest.mark.parametrize("gone", [True, False])
def test_a_copy_of_a_damaged_copy_is_not_trusted_beyond_it(*, gone: bool) -> None:
    """Nor is one of a copy that was not compared: less evidence makes nothing better."""
    place = a_place(HERON, identity=a_gap(), volume_facts=a_gap(), device_facts=a_gap())
    unseen = a_copy(HERON, NEAR, place=place, comparison=None, tree_at=None, gap=a_gap())
    case = chained(unseen if gone else a_copy(HERON, NEAR, comparison=DAMAGED))

    (found,) = lineage(case)
    copy = judged_dataset(case).copies[1]

    assert copy.standing is Standing.UNVERIFIED
    assert copy.reason.endswith("what is damaged there may lie here unseen")
    assert found.answer is Answer.UNVERIFIED
    assert judged_dataset(case).conclusion != "conforming"


def test_what_was_compared_on_another_volume_says_nothing_of_the_copy_that_it_is_made_of() -> None:
    place = a_place(HERON)
    other = replace(place, identity=an_identity(place.volume, PinState.CHANGED, "another filesystem"))
    case = chained(a_copy(HERON, NEAR, place=other))

    assert judged_dataset(case).copies[0].comparison is not None
    assert judged_dataset(case).copies[1].standing is Standing.UNVERIFIED
    assert "not the one pinned" in lineage(case)[0].message


def test_a_copy_of_a_place_that_is_not_in_the_case_is_not_trusted_either() -> None:
    case = a_case(a_copy(HERON, NEAR), a_copy(CURLEW, replace(FAR, taken_from=an_address("avocet:images"))))

    assert judged_dataset(case).copies[1].standing is Standing.UNVERIFIED


def test_digests_of_its_own_show_what_a_listing_cannot() -> None:
    case = chained(a_copy(HERON, NEAR, comparison=DAMAGED), comparison=BY_DIGEST)

    assert judged_dataset(case).copies[1].standing is Standing.PROVEN


def test_where_the_copy_is_not_needed_it_is_an_observation() -> None:
    spare = replace(POLICY, copies=1, media=None, offsite=None)
    case = replace(chained(a_copy(HERON, NEAR, comparison=DAMAGED)), policy=spare)

    assert [found.answer for found in lineage(case)] == [Answer.OBSERVATION]


def test_a_way_that_leads_in_a_circle_ends() -> None:
    first = Copy(address=an_address("heron:pool/a"), taken_from=an_address("curlew:store/b"))
    second = Copy(address=an_address("curlew:store/b"), taken_from=an_address("heron:pool/a"))

    assert sources_of(first, (first, second)) == (second.address,)


@pytest.mark.parametrize(
    ("alike", "said"),
    [
        (Alike(lacking=0, damaged=1, first_only=4, second_only=5, example=b"a.wav"), True),
        (Alike(lacking=3, damaged=0, first_only=0, second_only=9, example=b"a.wav"), True),
        (Alike(lacking=3, damaged=0, first_only=1, second_only=1, example=b"a.wav"), False),
        (Alike(lacking=2, damaged=0, first_only=0, second_only=0, example=b"a.wav"), False),
    ],
)
def test_two_copies_with_the_same_mistakes_look_as_if_one_was_made_of_the_other(alike: Alike, *, said: bool) -> None:
    pair = Resemblance(first=NEAR.address, second=FAR.address, alike=alike)

    found = lineage(replace(a_case(), resembling=(pair,)))

    assert bool(found) is said
    assert all(each.answer is Answer.OBSERVATION for each in found)
    assert all("it looks as if one was made of the other" in each.message for each in found)
    assert all("a.wav" in each.message for each in found)

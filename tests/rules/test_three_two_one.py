"""Three copies, two media, one offsite (US-CERT, Data Backup Options, 2012; the original counts as one)."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta
from typing import Any

import pytest

from coverage_audit.estate.model import Copy
from coverage_audit.evidence.difference import Tally
from coverage_audit.evidence.facts import GapKind, PinState
from coverage_audit.judgement.case import CopyEvidence
from coverage_audit.judgement.verdict import Conclusion
from tests.builders.cases import (
    a_case,
    a_copy,
    a_gap,
    a_manifest,
    a_place,
    an_identity,
    an_original,
    device_facts,
    failing,
    judged,
    judged_dataset,
    lacking,
)
from tests.builders.station import CURLEW, HERON, KESTREL, RECORDINGS, STARTED, a_device, a_volume, an_address

NEAR, FAR = RECORDINGS.copies
FEW = Tally(files=3, bytes=3_000)
STALE = lacking(3, 3_000, counting=FEW, counting_rows=3)
HOLED = replace(STALE, holds_newer=True)
OFF = a_gap()


def near(**values: Any) -> CopyEvidence:
    return a_copy(HERON, NEAR, **values)


def far(**values: Any) -> CopyEvidence:
    return a_copy(CURLEW, FAR, **values)


def gone(device: Any, copy: Any) -> CopyEvidence:
    place = a_place(device, device_facts=OFF, volume_facts=OFF, identity=OFF)
    return a_copy(device, copy, place=place, comparison=None, tree_at=None, gap=OFF)


def test_three_proven_copies_on_two_media_with_one_offsite_pass() -> None:
    audit = judged(a_case())

    assert audit.conclusion is Conclusion.CONFORMING
    assert failing(audit.datasets[0]) == []
    assert {f.rule for f in audit.datasets[0].findings} >= {
        "enough-copies", "media", "offsite", "independence",
        "age", "completeness", "mount-and-identity", "evidence-age",
    }  # fmt: skip


@pytest.mark.parametrize(
    ("copies", "expected"),
    [
        ((near(comparison=STALE), far()), ["age nonconformity", "enough-copies nonconformity"]),
        ((near(comparison=HOLED), far()), ["completeness nonconformity", "enough-copies nonconformity"]),
        (
            (near(), far(comparison=STALE)),
            ["age nonconformity", "enough-copies nonconformity", "media nonconformity", "offsite nonconformity"],
        ),
        (
            (near(), gone(CURLEW, FAR)),
            [
                "age unverified", "completeness unverified", "enough-copies unverified", "evidence-age unverified",
                "media unverified", "mount-and-identity unverified", "offsite unverified",
            ],
        ),
        (
            (gone(HERON, NEAR), far()),
            [
                "age unverified", "completeness unverified", "enough-copies unverified", "evidence-age unverified",
                "mount-and-identity unverified",
            ],
        ),
        (
            (near(),),
            [
                "enough-copies nonconformity", "feasibility nonconformity",
                "media nonconformity", "offsite nonconformity",
            ],
        ),
    ],
)  # fmt: skip
def test_take_any_one_away_and_exactly_the_right_rules_fail(
    copies: tuple[CopyEvidence, ...], expected: list[str]
) -> None:
    assert failing(judged_dataset(a_case(*copies))) == expected


def test_take_the_original_away_and_exactly_the_right_rules_fail() -> None:
    cut = a_gap("kestrel:main/recordings", GapKind.CUT, "after 812 entries")
    unseen = an_original(tree=cut, as_of=a_manifest(RECORDINGS.original, at=STARTED - timedelta(hours=1)))

    assert failing(judged_dataset(a_case(original=unseen))) == [
        "completeness unverified",
        "enough-copies unverified",
        "evidence-age unverified",
    ]


def test_one_machine_under_two_names_fails_the_count_and_independence_and_no_more() -> None:
    twin = a_place(HERON, device_facts=device_facts("kestrel", device=HERON.id))

    assert failing(judged_dataset(a_case(near(place=twin), far()))) == [
        "enough-copies nonconformity",
        "independence nonconformity",
    ]


def test_an_offsite_box_that_is_the_originals_own_is_not_elsewhere() -> None:
    twin = a_place(CURLEW, device_facts=device_facts("kestrel", device=CURLEW.id))

    assert failing(judged_dataset(a_case(near(), far(place=twin)))) == [
        "enough-copies nonconformity",
        "independence nonconformity",
        "offsite nonconformity",
    ]


def test_a_box_that_shows_nothing_of_itself_leaves_the_count_open() -> None:
    silent = a_place(HERON, device_facts=device_facts("heron", machine_id=None))

    assert failing(judged_dataset(a_case(near(place=silent), far()))) == [
        "enough-copies unverified",
        "independence unverified",
    ]


def test_an_unmounted_copy_is_unverified_and_never_incomplete() -> None:
    words = "nothing is mounted at /srv/pool: the path lies on the root filesystem"
    place = a_place(HERON, identity=an_identity(HERON.volumes[0], PinState.CHANGED, words))
    dataset = judged_dataset(a_case(near(place=place, comparison=HOLED), far()))

    assert dataset.conclusion is Conclusion.UNVERIFIED
    assert any(words in f.message for f in dataset.findings if f.rule == "mount-and-identity")
    assert any(words in f.message for f in dataset.findings if f.rule == "enough-copies")


def test_an_original_that_is_not_mounted_fails_however_many_copies_there_are() -> None:
    words = "nothing is mounted at /srv/main: the path lies on the root filesystem"
    place = a_place(KESTREL, identity=an_identity(KESTREL.volumes[0], PinState.CHANGED, words))
    unmounted = an_original(
        place=place,
        tree=a_gap("kestrel:main/recordings", GapKind.ANOTHER_VOLUME),
        as_of=a_manifest(RECORDINGS.original),
    )
    case = a_case(original=unmounted)

    dataset = judged_dataset(replace(case, policy=replace(case.policy, copies=2, media=None, offsite=None)))

    assert dataset.conclusion is Conclusion.UNVERIFIED
    assert "mount-and-identity unverified" in failing(dataset)
    assert "enough-copies unverified" not in failing(dataset)


def test_a_mirror_of_an_original_that_shrank_away_is_no_coverage() -> None:
    shrunk = an_original(tree=a_manifest(RECORDINGS.original, files=12, size=99))

    dataset = judged_dataset(a_case(original=shrunk))

    assert dataset.conclusion is Conclusion.UNVERIFIED
    assert {copy.standing for copy in dataset.copies} == {"unverified"}


def test_a_defective_copy_beyond_what_is_asked_is_an_observation_and_stays_visible() -> None:
    dunlin = a_device("dunlin", a_volume("dunlin:spare"))
    extra = a_copy(dunlin, Copy(address=an_address("dunlin:spare/recordings")), comparison=HOLED)

    dataset = judged_dataset(a_case(near(), far(), extra))

    assert dataset.conclusion is Conclusion.CONFORMING
    (finding,) = [
        f for f in dataset.findings if f.subject.endswith("@dunlin:spare/recordings") and f.rule == "completeness"
    ]
    assert finding.answer == "observation"
    assert "although it holds something newer" in finding.message


def test_a_required_failure_and_an_unknown_together_are_nonconforming() -> None:
    assert judged_dataset(a_case(near(comparison=STALE), gone(CURLEW, FAR))).conclusion is Conclusion.NONCONFORMING


def test_only_unknowns_are_unverified() -> None:
    assert judged_dataset(a_case(gone(HERON, NEAR), gone(CURLEW, FAR))).conclusion is Conclusion.UNVERIFIED

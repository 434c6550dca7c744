from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest

from coverage_audit.evidence.difference import Tally
from coverage_audit.judgement.room import takes_nothing_more
from coverage_audit.judgement.verdict import Answer
from tests.builders.cases import a_case, a_copy, a_gap, a_place, judged_dataset, volume_facts
from tests.builders.station import CURLEW, HERON, RECORDINGS

GIGABYTE = 10**9


def said(lacking: int = 0, **shown: Any) -> str | None:
    place = a_place(HERON, volume_facts=volume_facts(HERON.volumes[0], **shown))
    return takes_nothing_more(place, Tally(files=min(lacking, 1), bytes=lacking))


@pytest.mark.parametrize(
    ("lacking", "shown", "words"),
    [
        (0, {"read_only": True}, "mounted read-only"),
        (0, {"free": 0}, "0 bytes are free"),
        (0, {"free": GIGABYTE, "inodes": 9, "inodes_free": 0}, "none of its 9 inodes is free"),
        (2 * GIGABYTE, {"free": GIGABYTE}, "2.0 GB are lacking, and only 1.0 GB are free"),
    ],
)
def test_a_volume_that_takes_nothing_more_says_why(lacking: int, shown: dict[str, Any], words: str) -> None:
    assert words in (said(lacking, **shown) or "")


@pytest.mark.parametrize(
    "shown",
    [
        {},
        {"free": None, "inodes_free": None},
        {"free": GIGABYTE, "inodes_free": 1, "read_only": False},
        {"read_only": True, "filesystem_type": "nfs4", "mount_source": "heron.example:/pool"},
    ],
)
def test_nothing_is_said_of_what_is_not_shown_or_only_looked_at_from_here(shown: dict[str, Any]) -> None:
    assert said(GIGABYTE, **shown) is None


def test_what_is_declared_immutable_is_meant_to_be_read_only() -> None:
    volume = replace(HERON.volumes[0], immutable=True)
    place = replace(a_place(HERON, volume_facts=volume_facts(volume, read_only=True)), volume=volume)

    assert takes_nothing_more(place, Tally()) is None
    assert takes_nothing_more(replace(place, volume_facts=a_gap()), Tally()) is None


def test_a_full_copy_is_observed_and_breaks_no_criterion_by_itself() -> None:
    near, far = RECORDINGS.copies
    full = a_place(HERON, volume_facts=volume_facts(HERON.volumes[0], free=0))
    judged = judged_dataset(a_case(a_copy(HERON, near, place=full), a_copy(CURLEW, far)))
    (found,) = [f for f in judged.findings if f.rule == "mount-and-identity" and "@heron:" in f.subject]

    assert found.answer is Answer.OBSERVATION
    assert "0 bytes are free" in found.message
    assert "Make room" in found.mend

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta

import pytest

from coverage_audit.evidence.facts import GapKind, PinState
from coverage_audit.evidence.manifest import Blind, PartialManifest
from coverage_audit.judgement.original_standing import judge_original, why_not_judged_against
from coverage_audit.judgement.verdict import JudgedOriginal, Standing
from tests.builders.cases import a_gap, a_manifest, a_place, an_identity, an_original
from tests.builders.station import HELD, KESTREL, RECORDINGS, STARTED

MAIN = KESTREL.volumes[0]


def reason(judged: JudgedOriginal) -> str:
    assert judged.standing is Standing.UNVERIFIED
    return judged.reason


def test_an_original_seen_whole_now_on_its_pinned_volume_is_proven() -> None:
    assert judge_original(an_original(), started=STARTED).standing is Standing.PROVEN


@pytest.mark.parametrize("state", [PinState.CHANGED, PinState.ASKED])
def test_an_original_whose_volume_is_another_is_unverified_and_says_nothing_of_its_copies(state: PinState) -> None:
    words = "nothing is mounted at /srv/main: the path lies on the root filesystem"
    place = a_place(KESTREL, identity=an_identity(MAIN, state, words))
    original = an_original(place=place)

    assert words in reason(judge_original(original, started=STARTED))
    assert why_not_judged_against(original) is not None


def test_an_original_that_shows_no_file_is_never_proven() -> None:
    empty = an_original(tree=a_manifest(RECORDINGS.original, files=0, size=0), before=None)

    assert "no file at all" in reason(judge_original(empty, started=STARTED))
    assert why_not_judged_against(empty) is not None


@pytest.mark.parametrize(("files", "size"), [(99, HELD.bytes), (1000, HELD.bytes // 11), (1, 1)])
def test_an_original_that_shrank_by_more_than_nine_tenths_is_unverified(files: int, size: int) -> None:
    shrunk = an_original(tree=a_manifest(RECORDINGS.original, files=files, size=size))

    assert "shrank to nearly nothing" in reason(judge_original(shrunk, started=STARTED))
    assert why_not_judged_against(shrunk) is not None


def test_an_original_that_lost_half_is_still_an_original() -> None:
    half = an_original(tree=a_manifest(RECORDINGS.original, files=500, size=HELD.bytes // 2))

    assert judge_original(half, started=STARTED).standing is Standing.PROVEN


def test_an_original_seen_before_this_audit_is_not_seen_now() -> None:
    old = an_original(tree=a_manifest(RECORDINGS.original, at=STARTED - timedelta(seconds=1)))

    assert "not seen in this audit" in reason(judge_original(old, started=STARTED))


def test_an_original_that_was_not_seen_is_unverified_but_its_copies_are_judged_as_of_before() -> None:
    gone = an_original(tree=a_gap("kestrel", GapKind.CUT, "after 4711 entries"))

    assert "cut (after 4711 entries)" in reason(judge_original(gone, started=STARTED))
    assert why_not_judged_against(gone) is None


def test_an_original_read_in_part_is_unverified_and_the_part_is_named_safely() -> None:
    whole = a_manifest(RECORDINGS.original)
    part = PartialManifest(
        file=whole.file,
        origin=whole.origin,
        census=whole.census,
        blind=(Blind(path=b"private\n\xff", why="Permission denied"),),
    )

    said = reason(judge_original(an_original(tree=part), started=STARTED))

    assert r"private\n\xff" in said
    assert "Permission denied" in said


def test_an_original_whose_identity_was_not_seen_is_unverified() -> None:
    unseen = an_original(place=replace(a_place(KESTREL), identity=a_gap("kestrel:main", GapKind.TIME_LIMIT)))

    assert "was not seen" in reason(judge_original(unseen, started=STARTED))

"""What keeps a copy from being proven although nothing speaks against it."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta
from typing import Any

import pytest

from coverage_audit.estate.access import ShelfAccess
from coverage_audit.estate.model import Copy, Proof
from coverage_audit.evidence.difference import Mode, RowClass, RowVerdict, Sample, Tally
from coverage_audit.evidence.drilling import DrillsOfCopy
from coverage_audit.evidence.facts import GapKind, PinState
from coverage_audit.judgement.verdict import Ground, JudgedCopy, Standing
from tests.builders.cases import (
    a_comparison,
    a_copy,
    a_dated_copy,
    a_gap,
    a_manifest,
    a_place,
    a_point,
    an_identity,
    an_original,
    device_facts,
    judged_copy,
    lacking,
)
from tests.builders.station import (
    FINISHED,
    HELD,
    HERON,
    KESTREL,
    RECORDINGS,
    SEEN,
    STARTED,
    a_device,
    a_volume,
    an_address,
    changed,
)

MIRROR = RECORDINGS.copies[0]
POOL = HERON.volumes[0]
FEW = Tally(files=3, bytes=3_000)
HOLE = lacking(3, 3_000, counting=FEW, counting_rows=3, holds_newer=True)
CUT = lacking(3, 3_000, counting=FEW, counting_rows=3)
HARMED = a_comparison(changed=FEW, own=FEW, earliest_start=STARTED - timedelta(days=40))
UNTOLD = lacking(3, 3_000, between=FEW, between_rows=3, between_missing_audit=STARTED - timedelta(days=2))
BLIND = lacking(3, 3_000, unknown=FEW, blind_copy=True)


def a_mirror(**values: Any) -> JudgedCopy:
    return judged_copy(a_copy(HERON, MIRROR, **values))


def test_a_copy_that_was_not_seen_says_why() -> None:
    gap = a_gap("heron", GapKind.HOST_KEY, "it changed")
    place = a_place(HERON, device_facts=gap, volume_facts=gap, identity=gap)

    copy = a_mirror(comparison=None, gap=gap, tree_at=None, place=place)

    assert copy.standing is Standing.UNVERIFIED
    assert copy.reason == "it was not seen: host key (it changed)"
    assert copy.proof is Proof.DECLARED


def test_a_listing_that_was_cut_is_no_comparison() -> None:
    gap = a_gap("heron:pool/mirror/recordings", GapKind.CUT, "no terminator after 812 entries")

    copy = a_mirror(comparison=None, gap=gap, tree_at=None)

    assert copy.standing is Standing.UNVERIFIED
    assert "no terminator after 812 entries" in copy.reason


def test_yesterdays_listing_does_not_count_today() -> None:
    copy = a_mirror(tree_at=STARTED - timedelta(hours=20))

    assert copy.standing is Standing.UNVERIFIED
    assert copy.recovery_point is None
    assert "only this audit's evidence counts" in copy.reason


@pytest.mark.parametrize(("days", "standing"), [(2, Standing.PROVEN), (4, Standing.UNVERIFIED)])
def test_a_device_that_may_be_off_counts_for_as_long_as_that(days: int, standing: Standing) -> None:
    sleeper = replace(HERON, may_be_off=timedelta(days=3))
    then = STARTED - timedelta(days=days)
    evidence = a_copy(sleeper, MIRROR, tree_at=then, comparison=a_comparison(copy_at=then))

    copy = judged_copy(evidence)

    assert copy.standing is standing
    if standing is Standing.PROVEN:
        assert copy.recovery_point == then, "a recovery point never lies after the moment of observation"


def test_what_was_seen_earlier_counts_only_with_the_identity_and_the_clock_of_then() -> None:
    sleeper = replace(HERON, may_be_off=timedelta(days=3))
    then = STARTED - timedelta(days=1)
    known = a_place(sleeper, device_facts=device_facts("heron", at=then))
    seen = {"tree_at": then, "comparison": a_comparison(copy_at=then)}

    assert judged_copy(a_copy(sleeper, MIRROR, place=known, **seen)).standing is Standing.PROVEN
    for lost in ({"identity": a_gap()}, {"device_facts": a_gap()}):
        place = changed(known, **lost)
        assert judged_copy(a_copy(sleeper, MIRROR, place=place, **seen)).standing is Standing.UNVERIFIED


def test_when_it_was_seen_must_be_known_and_not_lie_ahead() -> None:
    assert a_mirror(tree_at=None).standing is Standing.UNVERIFIED
    assert a_mirror(tree_at=FINISHED + timedelta(hours=1)).standing is Standing.UNVERIFIED


def test_a_shelf_drive_is_judged_by_its_last_manifest_while_that_is_younger_than_max_age() -> None:
    shelf = a_device("shelf-b", a_volume("shelf-b:drive"), access=ShelfAccess())
    declared = Copy(address=an_address("shelf-b:drive/recordings"), max_age=timedelta(days=35))
    place = a_place(shelf, device_facts=a_gap("shelf-b", GapKind.SHELF))
    young, old = STARTED - timedelta(days=30), STARTED - timedelta(days=36)
    nothing = a_copy(shelf, declared, place=place, comparison=None, tree_at=None, gap=a_gap("shelf-b", GapKind.SHELF))

    assert judged_copy(a_copy(shelf, declared, place=place, tree_at=young)).standing is Standing.PROVEN
    assert judged_copy(a_copy(shelf, declared, place=place, tree_at=old)).standing is Standing.UNVERIFIED
    assert judged_copy(nothing).reason == "it was not compared: on the shelf (no route to host)"


def test_a_copy_that_was_never_read_back_is_not_restored() -> None:
    unknown = judged_copy(a_copy(HERON, replace(MIRROR, proof=Proof.RESTORED)))
    never = judged_copy(a_copy(HERON, replace(MIRROR, proof=Proof.RESTORED), drills=DrillsOfCopy()))

    assert (unknown.standing, never.standing) == (Standing.UNVERIFIED, Standing.UNVERIFIED)
    assert "what was read back out of it is not known" in unknown.reason
    assert "no drill has read it back" in never.reason
    assert never.recovery_point == SEEN, "what was listed is proven all the same"


def test_proof_declared_proves_nothing_without_an_observation() -> None:
    copy = judged_copy(a_copy(HERON, replace(MIRROR, proof=Proof.DECLARED), comparison=None, tree_at=None))

    assert copy.standing is Standing.UNVERIFIED


def test_against_an_empty_original_nothing_is_proven_and_nothing_is_a_defect() -> None:
    empty = an_original(tree=a_manifest(RECORDINGS.original, files=0, size=0), before=None)
    nothing = a_comparison(original=Tally(), same=Tally(), extra=HELD)

    copy = judged_copy(a_copy(HERON, MIRROR, comparison=nothing), original=empty)

    assert copy.standing is Standing.UNVERIFIED
    assert "no file at all" in copy.reason


def test_an_original_of_which_everything_is_left_out_proves_nothing() -> None:
    nothing = a_comparison(original=Tally(), same=Tally(), left_out=HELD)

    assert "left out" in a_mirror(comparison=nothing).reason


def test_an_original_on_another_volume_voids_every_comparison_with_it() -> None:
    place = a_place(
        KESTREL, identity=an_identity(KESTREL.volumes[0], PinState.CHANGED, "filesystem UUID was a, is now b")
    )

    copy = judged_copy(a_copy(HERON, MIRROR, comparison=HARMED), original=an_original(place=place))

    assert copy.standing is Standing.UNVERIFIED
    assert "filesystem UUID was a, is now b" in copy.reason


def test_where_the_original_was_not_seen_a_copy_is_judged_as_of_before() -> None:
    then = STARTED - timedelta(hours=20)
    unseen = an_original(tree=a_gap("kestrel"), as_of=a_manifest(RECORDINGS.original, at=then))

    copy = judged_copy(a_copy(HERON, MIRROR, comparison=a_comparison(original_at=then)), original=unseen)

    assert copy.standing is Standing.PROVEN
    assert copy.recovery_point == then
    assert any(remark.startswith("as of 2026-11-24 08:10 GMT") for remark in copy.remarks)


def test_an_original_unseen_for_longer_than_max_age_leaves_its_copies_unverified() -> None:
    then = STARTED - timedelta(days=3)
    unseen = an_original(tree=a_gap("kestrel"), as_of=a_manifest(RECORDINGS.original, at=then))

    copy = judged_copy(a_copy(HERON, MIRROR, comparison=a_comparison(original_at=then)), original=unseen)

    assert copy.standing is Standing.UNVERIFIED
    assert "what came since is unknown" in copy.reason


@pytest.mark.parametrize("name", ["kestrel", "heron"])
@pytest.mark.parametrize(
    "facts",
    [
        {"clock_offset": timedelta(minutes=3)},
        {"clock_offset": timedelta(hours=-1)},
        {"clock_offset": timedelta(minutes=1), "clock_uncertainty": timedelta(minutes=5)},
        {"clock_offset": None, "clock_uncertainty": None},
    ],
)
def test_a_clock_that_disagrees_or_is_not_shown_makes_old_look_fresh(name: str, facts: dict[str, Any]) -> None:
    wrong = device_facts(name, **facts)
    original, place = an_original(), a_place(HERON)
    if name == "kestrel":
        original = replace(original, place=replace(original.place, device_facts=wrong))
    else:
        place = replace(place, device_facts=wrong)

    copy = judged_copy(a_copy(HERON, MIRROR, place=place), original=original)

    assert copy.standing is Standing.UNVERIFIED
    assert copy.ground is Ground.CLOCK
    assert copy.recovery_point is None


def test_a_wrong_clock_excuses_no_defect_but_proves_no_age() -> None:
    place = a_place(HERON, device_facts=device_facts("heron", clock_offset=timedelta(hours=5)))

    assert a_mirror(place=place, comparison=HARMED).standing is Standing.DAMAGED
    assert a_mirror(place=place, comparison=HOLE).standing is Standing.INCOMPLETE
    assert a_mirror(place=place, comparison=CUT).standing is Standing.UNVERIFIED


def test_a_copy_that_shows_a_time_to_come_is_not_trusted() -> None:
    ahead = FINISHED + timedelta(hours=2)

    assert a_mirror(comparison=a_comparison(last_work=ahead)).ground is Ground.CLOCK
    assert judged_copy(a_dated_copy(HERON, a_point("2026-11-26", ahead))).ground is Ground.CLOCK


def test_held_by_size_alone_is_less_than_listed() -> None:
    found = a_comparison(unproven=FEW, not_compared=("times, which the copy's listing does not hold",))

    copy = a_mirror(comparison=found)

    assert copy.standing is Standing.UNVERIFIED
    assert copy.proof is Proof.DECLARED
    assert "neither times nor digests could be compared" in copy.reason
    assert "not compared: times, which the copy's listing does not hold" in copy.remarks
    assert copy.recovery_point is None


def test_held_by_size_alone_is_enough_where_less_than_listed_is_asked() -> None:
    declared = replace(MIRROR, proof=Proof.DECLARED)

    copy = judged_copy(a_copy(HERON, declared, comparison=a_comparison(unproven=FEW)))

    assert copy.standing is Standing.PROVEN
    assert copy.proof is Proof.DECLARED


def test_times_that_could_not_be_compared_are_no_doubt_where_digests_were() -> None:
    mode = Mode(granularity_ns=1, times=False, digest="sha256")
    found = a_comparison(mode=mode, not_compared=("times, which the copy's listing does not hold",))

    copy = a_mirror(comparison=found)

    assert copy.standing is Standing.PROVEN
    assert "compared by sha256 digests" in copy.remarks


def test_a_hollow_file_is_unverified_and_said_as_such() -> None:
    sample = Sample(
        path=b"partly",
        row_class=RowClass.HOLLOW,
        verdict=RowVerdict.UNHASHED,
        size=1000,
        mtime_ns=0,
        earliest_ns=None,
        latest_ns=0,
    )
    one = Tally(files=1, bytes=1000)

    copy = a_mirror(comparison=a_comparison(changed=FEW, unhashed=FEW, hollow=one, samples=(sample,)))

    assert copy.standing is Standing.UNVERIFIED
    assert (
        "2 files (2.0 kB) bear a later time than in the original, their content unverified until hashed" in copy.reason
    )
    assert "1 file (1.0 kB) take up far less than their size there" in copy.reason
    assert "“partly”" in copy.reason

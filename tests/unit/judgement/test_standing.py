"""The standings and their order: the worst that is proven first, then what is unknown, else proven."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta
from typing import Any

import pytest

from coverage_audit.estate.model import Copy, DatedFolders, Proof, ShelfAccess
from coverage_audit.evidence.difference import Mode, RowClass, RowVerdict, Sample, TakeUp, Tally
from coverage_audit.evidence.facts import GapKind, PinState, PointList
from coverage_audit.judgement.verdict import Ground, JudgedCopy, Standing
from tests.builders.cases import (
    CURLEW,
    FINISHED,
    HELD,
    HERON,
    KESTREL,
    MAX_AGE,
    RECORDINGS,
    SEEN,
    STARTED,
    a_comparison,
    a_copy,
    a_dated_copy,
    a_device,
    a_gap,
    a_manifest,
    a_place,
    a_point,
    a_volume,
    an_address,
    an_identity,
    an_original,
    changed,
    device_facts,
    judged_copy,
    lacking,
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


def test_a_copy_that_holds_everything_is_proven() -> None:
    copy = a_mirror()

    assert copy.standing is Standing.PROVEN
    assert copy.ground is None
    assert copy.proof is Proof.LISTED
    assert copy.reason == "all 1 000 files (5.0 GB) are held"


@pytest.mark.parametrize(
    ("comparison", "standing"),
    [
        (HARMED, Standing.DAMAGED),
        (replace(HARMED, own=Tally(), content=FEW), Standing.DAMAGED),
        (HOLE, Standing.INCOMPLETE),
        (lacking(600, 100), Standing.INCOMPLETE),
        (lacking(2, HELD.bytes // 2 + 1), Standing.INCOMPLETE),
        (CUT, Standing.STALE),
        (UNTOLD, Standing.UNVERIFIED),
        (BLIND, Standing.UNVERIFIED),
        (a_comparison(blind_original=True), Standing.UNVERIFIED),
        (a_comparison(changed=FEW, unhashed=FEW), Standing.UNVERIFIED),
        (lacking(3, 3_000, pending=FEW, pending_rows=3), Standing.PROVEN),
    ],
)
def test_each_standing_follows_from_what_the_comparison_found(comparison: Any, standing: Standing) -> None:
    assert a_mirror(comparison=comparison).standing is standing


def test_the_worst_that_is_proven_comes_first_and_the_rest_is_remarked() -> None:
    every = replace(HOLE, own=FEW, changed=FEW, between=FEW, between_rows=3, blind_copy=True)

    copy = a_mirror(comparison=every)

    assert copy.standing is Standing.DAMAGED
    assert any("although it holds something newer" in remark for remark in copy.remarks)
    assert any("cannot be told" in remark for remark in copy.remarks)
    assert a_mirror(comparison=replace(every, own=Tally())).standing is Standing.INCOMPLETE
    assert a_mirror(comparison=replace(every, own=Tally(), holds_newer=False)).standing is Standing.STALE


@pytest.mark.parametrize("comparison", [HARMED, HOLE, CUT, a_comparison()])
@pytest.mark.parametrize("state", [PinState.CHANGED, PinState.ASKED])
def test_a_volume_that_is_not_the_pinned_one_comes_before_all_else(comparison: Any, state: PinState) -> None:
    words = "nothing is mounted at /srv/pool: the path lies on the root filesystem"
    place = a_place(HERON, identity=an_identity(POOL, state, words))

    copy = a_mirror(comparison=comparison, place=place)

    assert copy.standing is Standing.UNVERIFIED
    assert copy.ground is Ground.IDENTITY
    assert words in copy.reason
    assert copy.recovery_point is None
    assert copy.proof is Proof.DECLARED


def test_a_file_written_into_a_bare_mount_point_makes_no_copy() -> None:
    place = a_place(HERON, identity=an_identity(POOL, PinState.CHANGED, "nothing is mounted at /srv/pool"))

    assert a_mirror(place=place, comparison=a_comparison()).standing is Standing.UNVERIFIED


def test_an_empty_copy_of_a_dataset_that_is_one_minute_old_is_incomplete() -> None:
    young = STARTED - timedelta(minutes=1)
    nothing = lacking(1000, HELD.bytes, pending=HELD, earliest_start=young, earliest_start_trimmed=young)

    copy = a_mirror(comparison=nothing)

    assert copy.standing is Standing.INCOMPLETE
    assert copy.recovery_point is None


def test_a_defect_still_shows_beside_a_folder_that_could_not_be_read() -> None:
    part = Tally(files=2, bytes=2_000)
    found = replace(
        BLIND, missing=FEW + part, counting=part, counting_rows=2, holds_newer=True, same=Tally(files=995, bytes=1)
    )

    assert a_mirror(comparison=found).standing is Standing.INCOMPLETE


def test_what_may_lie_in_an_unreadable_folder_is_not_shown_to_be_lacking() -> None:
    found = lacking(900, 10, unknown=Tally(files=900, bytes=10), blind_copy=True)

    assert a_mirror(comparison=found).standing is Standing.UNVERIFIED


def test_an_unreadable_folder_of_a_copy_that_lacks_nothing_is_only_remarked() -> None:
    copy = a_mirror(comparison=a_comparison(blind_copy=True))

    assert copy.standing is Standing.PROVEN
    assert "part of the copy could not be read" in copy.remarks


def test_folders_alone_can_be_lacking() -> None:
    found = lacking(0, 0, counting_rows=1, folders_missing=1)

    assert a_mirror(comparison=found).standing is Standing.STALE
    assert a_mirror(comparison=replace(found, counting_rows=0, blind_copy=True)).standing is Standing.UNVERIFIED


def test_a_copy_that_takes_nothing_up_is_incomplete_though_its_cut_is_young() -> None:
    young = STARTED - timedelta(hours=20)
    found = replace(
        CUT, earliest_start=young, take_up=TakeUp(gone_unheld=40, pending_since=STARTED - timedelta(days=3))
    )

    copy = a_mirror(comparison=found)

    assert copy.standing is Standing.INCOMPLETE
    assert "takes nothing up" in copy.reason


def test_a_mirror_that_went_back_is_stale_and_says_so() -> None:
    found = replace(CUT, changed=FEW, missing=Tally(), went_back=FEW)

    copy = a_mirror(comparison=found)

    assert copy.standing is Standing.STALE
    assert "went back" in copy.reason


def test_a_job_that_touches_a_stamp_and_copies_nothing_is_as_old_as_what_it_lacks() -> None:
    copy = a_mirror(comparison=replace(CUT, last_work=STARTED))

    assert copy.standing is Standing.STALE
    assert copy.recovery_point == STARTED - timedelta(days=11)


def test_a_listing_of_yesterday_does_not_count_though_it_was_compared_today() -> None:
    assert a_mirror(comparison=a_comparison(copy_at=STARTED - timedelta(days=1))).standing is Standing.UNVERIFIED


def test_a_row_between_names_the_audit_that_is_missing() -> None:
    copy = a_mirror(comparison=UNTOLD)

    assert "no audit between 2026-11-23 04:10 GMT and this one" in copy.reason


def test_names_in_reasons_are_safe_to_show() -> None:
    row = Sample(
        path=b"$(reboot)\n\x1b[2J<script>\xff",
        row_class=RowClass.MISSING,
        verdict=RowVerdict.COUNTS,
        size=1,
        mtime_ns=0,
        earliest_ns=None,
        latest_ns=None,
    )

    copy = a_mirror(comparison=replace(HOLE, samples=(row,)))

    assert copy.reason.isprintable()
    assert r"$(reboot)\n" in copy.reason


# -- evidence that is missing, too old or too little


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


@pytest.mark.parametrize("proof", [Proof.SAMPLED, Proof.RESTORED])
def test_more_proof_than_this_version_gives_stays_unverified(proof: Proof) -> None:
    copy = judged_copy(a_copy(HERON, replace(MIRROR, proof=proof)))

    assert copy.standing is Standing.UNVERIFIED
    assert "cannot give yet" in copy.reason
    assert copy.recovery_point == SEEN, "what was listed is proven all the same"


def test_proof_declared_proves_nothing_without_an_observation() -> None:
    copy = judged_copy(a_copy(HERON, replace(MIRROR, proof=Proof.DECLARED), comparison=None, tree_at=None))

    assert copy.standing is Standing.UNVERIFIED


# -- the original's side


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


# -- clocks


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


# -- dated points


def test_the_newest_point_that_is_older_than_max_age_is_stale() -> None:
    copy = judged_copy(a_dated_copy(HERON, a_point("2026-11-20", STARTED - timedelta(days=5))))

    assert copy.standing is Standing.STALE
    assert "“2026-11-20”" in copy.reason


def test_exactly_max_age_is_still_within() -> None:
    assert judged_copy(a_dated_copy(HERON, a_point("p", FINISHED - MAX_AGE))).standing is Standing.PROVEN
    older = a_point("p", FINISHED - MAX_AGE - timedelta(microseconds=1))
    assert judged_copy(a_dated_copy(HERON, older)).standing is Standing.STALE


def test_a_name_that_means_two_instants_is_judged_by_both() -> None:
    edge = FINISHED - MAX_AGE
    twice = a_point("p", edge - timedelta(minutes=30), latest=edge + timedelta(minutes=30))

    copy = judged_copy(a_dated_copy(HERON, twice))

    assert copy.standing is Standing.UNVERIFIED
    assert any("two instants" in remark for remark in copy.remarks)


def test_a_point_with_a_newer_one_that_has_a_hole_is_judged_by_its_own_age() -> None:
    good, holed = a_point("2026-11-20", STARTED - timedelta(days=5)), a_point("2026-11-25", STARTED)

    copy = judged_copy(a_dated_copy(HERON, good, holed, point=good))

    assert copy.standing is Standing.STALE
    assert "newest complete recovery point “2026-11-20”" in copy.reason


def test_a_copy_without_any_recovery_point_is_incomplete_but_with_names_that_are_none_unverified() -> None:
    none = a_dated_copy(HERON, comparison=None, tree_at=None, gap=a_gap("heron", GapKind.MISSING))
    assert isinstance(none.points, PointList)
    misread = replace(none, points=replace(none.points, refused=(("backup-1", "no date in it"),)))

    assert judged_copy(none).standing is Standing.INCOMPLETE
    assert judged_copy(misread).standing is Standing.UNVERIFIED
    assert "“backup-1”" in judged_copy(misread).reason


def test_points_that_were_not_seen_leave_a_dated_copy_unverified() -> None:
    seen = a_dated_copy(HERON, a_point("2026-11-25", STARTED))

    assert judged_copy(replace(seen, points=a_gap("heron"))).standing is Standing.UNVERIFIED
    assert judged_copy(replace(seen, points=None)).standing is Standing.UNVERIFIED
    assert judged_copy(replace(seen, point=None)).standing is Standing.UNVERIFIED


@pytest.mark.parametrize(("proof", "standing"), [(Proof.DATED, Standing.PROVEN), (Proof.LISTED, Standing.UNVERIFIED)])
def test_dates_are_enough_only_where_the_policy_says_so(proof: Proof, standing: Standing) -> None:
    declared = Copy(
        address=an_address("heron:pool/.points/{point}/recordings"), points=DatedFolders(pattern="%Y"), proof=proof
    )
    point = a_point("2026-11-25", STARTED - timedelta(hours=3))
    evidence = a_dated_copy(
        HERON, point, copy=declared, comparison=None, tree_at=None, point=None, gap=a_gap("heron", GapKind.CUT)
    )

    copy = judged_copy(evidence)

    assert copy.standing is standing
    assert copy.proof is Proof.DATED


# -- remarks


def test_what_stands_beside_the_standing_is_said() -> None:
    found = a_comparison(
        mode=Mode(granularity_ns=2 * 10**9, shift=timedelta(hours=-1), by_size=True),
        under_old_name=FEW,
        left_out=FEW,
        left_out_by=(("*.tmp", FEW), ("*.tpm", Tally())),
    )
    place = a_place(CURLEW, identity=an_identity(CURLEW.volumes[0], PinState.PINNED_NOW))

    copy = judged_copy(a_copy(CURLEW, RECORDINGS.copies[1], comparison=found, place=place))

    said = "\n".join(copy.remarks)
    assert copy.by_size
    assert "by size" in said
    assert "1 h later throughout: a zone error" in said
    assert "held under an old name" in said
    assert "left out on purpose: 3 files (3.0 kB) (*.tmp 3 files (3.0 kB), *.tpm nothing)" in said
    assert "seen for the first time" in said


def test_an_assumed_zone_is_said() -> None:
    point = a_point("2026-11-25", STARTED - timedelta(hours=1), assumed_zone="Europe/Dublin")

    assert any("Europe/Dublin is assumed" in remark for remark in judged_copy(a_dated_copy(HERON, point)).remarks)


def test_a_volume_known_by_its_content_must_go_on_with_it() -> None:
    place = a_place(HERON, identity=an_identity(POOL, PinState.BY_CONTENT))

    assert a_mirror(place=place).standing is Standing.PROVEN
    assert any("content goes on" in remark for remark in a_mirror(place=place).remarks)
    assert a_mirror(place=place, comparison=lacking(900, 0)).ground is Ground.IDENTITY

"""The standings and their order: the worst that is proven first, then what is unknown, else proven."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta
from typing import Any

import pytest

from coverage_audit.estate.model import Proof
from coverage_audit.evidence.difference import RowClass, RowVerdict, Sample, TakeUp, Tally
from coverage_audit.evidence.facts import PinState
from coverage_audit.judgement.verdict import Ground, JudgedCopy, Standing
from tests.builders.cases import (
    a_comparison,
    a_copy,
    a_place,
    an_identity,
    judged_copy,
    lacking,
)
from tests.builders.station import (
    HELD,
    HERON,
    RECORDINGS,
    STARTED,
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

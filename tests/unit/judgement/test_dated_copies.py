from __future__ import annotations

from dataclasses import replace
from datetime import timedelta
from typing import Any

import pytest

from coverage_audit.estate.model import Copy, Proof
from coverage_audit.estate.sources import DatedFolders
from coverage_audit.evidence.difference import Tally
from coverage_audit.evidence.facts import GapKind, PointList
from coverage_audit.judgement.verdict import JudgedCopy, Standing
from tests.builders.cases import (
    a_comparison,
    a_copy,
    a_dated_copy,
    a_gap,
    a_point,
    judged_copy,
    lacking,
)
from tests.builders.station import (
    FINISHED,
    HERON,
    MAX_AGE,
    RECORDINGS,
    STARTED,
    an_address,
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
    assert any("may mean any time between" in remark for remark in copy.remarks)


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

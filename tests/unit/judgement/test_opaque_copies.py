"""Copies that can be asked for their points alone: proven by date where that is enough, and nowhere else."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta
from typing import Any

import pytest

from coverage_audit.estate.model import Copy, Proof
from coverage_audit.estate.sources import CommandPoints, DatedFiles, Points, ZfsPoints
from coverage_audit.evidence.facts import PointList, RecoveryPoint
from coverage_audit.judgement.feasibility import cannot_be_met
from coverage_audit.judgement.verdict import Answer, JudgedCopy, Standing
from tests.builders.cases import a_case, a_copy, a_gap, a_point, judged_copy, judged_dataset
from tests.builders.station import CURLEW, FINISHED, HERON, POLICY, RECORDINGS, SEEN, an_address, an_estate

FRESH = a_point("2026-11-25.img", FINISHED - timedelta(hours=3), size=5_000)
KINDS: list[tuple[str, Points]] = [
    ("{volume}/dumps/{point}", DatedFiles()),
    ("{volume}/recordings", ZfsPoints(dataset="pool/recordings")),
    ("{volume}/recordings", CommandPoints(arguments=("list-points",), json="[].time")),
]


def opaque(text: str = KINDS[0][0], points: Points = KINDS[0][1], proof: Proof | None = Proof.DATED) -> Copy:
    address = an_address(text.replace("{volume}", str(HERON.volumes[0].key)))
    return Copy(address=address, points=points, proof=proof)


def judged(copy: Copy, *points: RecoveryPoint, **values: Any) -> JudgedCopy:
    listed = PointList(address=copy.address, at=SEEN, points=points, refused=values.pop("refused", ()))
    wanted = {"points": listed, "comparison": None, "tree_at": None, **values}
    return judged_copy(a_copy(HERON, copy, **wanted))


@pytest.mark.parametrize(("text", "points"), KINDS)
def test_a_fresh_point_proves_it_by_date_where_dates_are_enough(text: str, points: Points) -> None:
    copy = judged(opaque(text, points), FRESH)

    assert copy.standing is Standing.PROVEN
    assert copy.proof is Proof.DATED
    assert copy.recovery_point == FRESH.earliest
    assert any("never opened" in remark for remark in copy.remarks)


def test_its_size_is_said() -> None:
    assert any("5.0 kB" in remark for remark in judged(opaque(), FRESH).remarks)


@pytest.mark.parametrize(("text", "points"), KINDS)
def test_where_more_is_asked_it_never_counts(text: str, points: Points) -> None:
    copy = judged(opaque(text, points, proof=None), FRESH)  # the policy asks for a listing

    assert copy.standing is Standing.UNVERIFIED
    assert "its proof is “dated”, and “listed” is asked" in copy.reason
    assert copy.recovery_point is None


def test_a_newest_point_that_is_too_old_makes_it_stale() -> None:
    old = a_point("2026-09-01.img", FINISHED - timedelta(days=80), size=5_000)
    assert judged(opaque(), old).standing is Standing.STALE


def test_no_point_at_all_is_a_defect_and_names_that_are_none_are_not() -> None:
    assert judged(opaque()).standing is Standing.INCOMPLETE
    assert judged(opaque(), refused=(("2026-11-25.img", "it is empty"),)).standing is Standing.UNVERIFIED


def test_points_that_were_not_seen_leave_it_unverified() -> None:
    copy = judged(opaque(), points=a_gap())

    assert copy.standing is Standing.UNVERIFIED
    assert copy.proof is Proof.DECLARED
    assert "were not seen" in copy.reason


def test_what_speaks_against_the_newest_point_is_said() -> None:
    assert "odd" in judged(opaque(), replace(FRESH, doubts=("odd",))).remarks


def test_points_of_exactly_one_size_are_said() -> None:
    series = [
        replace(FRESH, name=f"{days}", earliest=FRESH.earliest - timedelta(days=days)) for days in range(5, -1, -1)
    ]

    assert any("exactly one size" in remark for remark in judged(opaque(), *series).remarks)
    grown = [replace(each, size=5_000 + number) for number, each in enumerate(series)]
    assert not any("exactly one size" in remark for remark in judged(opaque(), *grown).remarks)


def test_a_listing_asked_of_it_is_told_before_anything_is_walked() -> None:
    dataset = replace(RECORDINGS, copies=(opaque(proof=None), RECORDINGS.copies[1]))
    found = cannot_be_met(an_estate(datasets=(dataset,), policies=(replace(POLICY, copies=3),)))

    answers = {finding.subject.rpartition("/")[2]: finding.answer for finding in found}
    assert answers["copies"] is Answer.NONCONFORMITY  # it is no third copy, whatever it holds
    assert any("say `proof: dated`" in finding.message for finding in found if finding.answer is Answer.OBSERVATION)


def test_where_dates_are_enough_nothing_is_told() -> None:
    dataset = replace(RECORDINGS, copies=(opaque(), RECORDINGS.copies[1]))
    assert cannot_be_met(an_estate(datasets=(dataset,), policies=(replace(POLICY, copies=3),))) == ()


@pytest.mark.parametrize(("second", "apart"), [("zfs 7 42", False), ("zfs 8 42", True)])
def test_one_snapshot_reported_under_two_copies_is_counted_once(second: str, apart: bool) -> None:  # noqa: FBT001
    # The snapshot's guid alone survives a send to another pool; with its dataset's own it is the very same one.
    elsewhere = Copy(
        address=an_address(f"{CURLEW.volumes[0].key}/recordings"), points=ZfsPoints(dataset="p/r"), proof=Proof.DATED
    )
    here = opaque(*KINDS[1])
    evidence = [
        a_copy(
            device,
            copy,
            points=PointList(address=copy.address, at=SEEN, points=(replace(FRESH, identity=identity),)),
            comparison=None,
            tree_at=None,
        )
        for device, copy, identity in ((HERON, here, "zfs 7 42"), (CURLEW, elsewhere, second))
    ]
    dataset = judged_dataset(a_case(*evidence))

    (enough,) = (finding for finding in dataset.findings if finding.rule == "enough-copies")
    assert enough.measured.startswith("3 proven" if apart else "2 proven")

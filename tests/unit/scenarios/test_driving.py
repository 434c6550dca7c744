"""A volume while a drive is out, and drives that give way to others."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime

import pytest

from coverage_audit.errors import UsageError
from coverage_audit.estate.hardware import Drive, Parity, ParityKind
from coverage_audit.estate.model import Volume
from coverage_audit.evidence.difference import Tally
from coverage_audit.judgement.case import CopyEvidence, PlaceEvidence
from coverage_audit.reckoning.service_life import SERVICE_LIFE
from coverage_audit.scenarios.drive_out import DriveOut
from coverage_audit.scenarios.driving import Replacing, drive_out
from coverage_audit.scenarios.material import material_of
from tests.builders.cases import a_case, a_copy, a_gap, a_place, judged, lacking, volume_facts
from tests.builders.station import CURLEW, HELD, HERON, KESTREL, POLICY, RECORDINGS, a_volume, an_estate

TB = 10**12
NOW = datetime(2026, 11, 27, tzinfo=UTC)
OLD = datetime(2019, 3, 2, tzinfo=UTC).date()


def volume(*sizes: int, parity: Parity | None) -> Volume:
    return a_volume(
        "kestrel:main", drives=tuple(Drive(size=size * TB, in_service=OLD) for size in sizes), parity=parity
    )


def out(
    of: Volume,
    *copies: CopyEvidence,
    number: int = 1,
    replacing: Replacing | None = None,
    place: PlaceEvidence | None = None,
) -> DriveOut:
    box = replace(KESTREL, volumes=(of,))
    case = a_case(*copies)
    case = replace(case, original=replace(case.original, place=place or a_place(box)), policy=replace(POLICY, copies=1))
    estate = an_estate(box, HERON, CURLEW)
    estate = replace(estate, datasets=(case.dataset,), policies=(case.policy,))
    return drive_out(of, number, material_of(estate, judged(case, estate), at=NOW), replacing)


SPREAD = Parity(kind=ParityKind.SPREAD, drives=1)
DEDICATED = Parity(kind=ParityKind.DEDICATED, drives=2)


# 2, 4, 4 and 8 TB in equal slices with one for parity: 6 TB usable, 10 TB unused (mdadm(8), `--size`).
def test_what_drives_of_mixed_sizes_hold_together() -> None:
    found = out(volume(2, 4, 4, 8, parity=SPREAD))

    assert (found.array.usable, found.array.unused, found.array.stands) == (6 * TB, 10 * TB, 1)
    assert found.risk is not None
    assert found.risk.spare == 0


# Three data drives of 6 TB by such of 12 TB, behind dedicated parity: 54 TB become 72 TB (common practice).
def test_a_replacement_is_told_before_and_after_and_what_comes_first() -> None:
    found = out(
        volume(12, 12, 12, 12, 12, 6, 6, 6, parity=DEDICATED), replacing=Replacing(old=6 * TB, new=12 * TB, count=3)
    )

    assert found.replaced is not None
    assert (found.array.usable, found.replaced.usable) == (54 * TB, 72 * TB)
    assert any("one drive at a time" in step for step in found.steps)


def test_drives_larger_than_the_parity_need_that_replaced_first() -> None:
    found = out(
        volume(8, 4, 4, parity=Parity(kind=ParityKind.DEDICATED)), replacing=Replacing(old=4 * TB, new=12 * TB, count=1)
    )

    assert found.steps[0].startswith("Replace the parity drives first")


def test_drives_that_are_not_there_cannot_be_replaced() -> None:
    with pytest.raises(UsageError, match="kestrel:main"):
        out(volume(4, 4, parity=SPREAD), replacing=Replacing(old=6 * TB, new=8 * TB, count=1))


def test_what_cannot_be_an_array_says_so_and_reckons_nothing() -> None:
    found = out(volume(4, parity=Parity(kind=ParityKind.MIRROR)))

    assert found.array.wrong
    assert found.risk is None


def test_a_mirror_that_shows_more_than_one_drive_holds_is_none_of_all_of_its_drives() -> None:
    # Two copies spread over 4, 4 and 8 TB hold 8 TB and stand the loss of one; a mirror of all three would hold 4 TB.
    of = volume(4, 4, 8, parity=Parity(kind=ParityKind.MIRROR))

    def shown(capacity: int) -> DriveOut:
        box = replace(KESTREL, volumes=(of,))
        return out(of, place=a_place(box, volume_facts=volume_facts(of, capacity=capacity)))

    real = 4_000_787_030_016  # a drive of 4 TB holds a little more than that
    assert (shown(real).array.stands, shown(real).array.wrong) == (2, "")
    assert "it shows 8.0 TB, more than a mirror of these drives holds (4.0 TB)" in shown(8 * TB).array.wrong
    assert shown(8 * TB).risk is None


def test_a_volume_without_parity_stands_nothing_and_must_be_copied_first() -> None:
    found = out(volume(4, 4, parity=None), replacing=Replacing(old=4 * TB, new=8 * TB, count=1))

    assert found.risk is None
    assert any("copy what it holds elsewhere" in step for step in found.steps)


def test_age_is_held_against_the_service_life() -> None:
    (age,) = out(volume(4, parity=None)).ages

    assert age.years == pytest.approx(7.74, abs=0.01)
    assert age.is_over
    assert age.service_years == SERVICE_LIFE


def test_nothing_is_at_stake_where_a_proven_copy_is_elsewhere() -> None:
    assert not out(volume(4, 4, parity=SPREAD), a_copy(HERON, RECORDINGS.copies[0])).at_stake


def test_what_a_copy_behind_or_one_that_was_not_seen_holds_is_at_stake() -> None:
    behind = replace(lacking(3, 300), counting=Tally(files=3, bytes=300), counting_rows=3)
    stale = a_copy(HERON, RECORDINGS.copies[0], comparison=behind)
    unseen = a_copy(CURLEW, RECORDINGS.copies[1], comparison=None, tree_at=None, gap=a_gap("curlew"))

    (stake,) = out(volume(4, 4, parity=SPREAD), stale, unseen).at_stake

    assert stake.dataset == "field-recordings"
    assert "heron:pool" in stake.why
    hidden = a_place(HERON, volume_facts=volume_facts(HERON.volumes[0], filesystem_uuid=None))
    assert out(volume(4, 4, parity=SPREAD), a_copy(HERON, RECORDINGS.copies[0], place=hidden)).at_stake
    (alone,) = out(volume(4, 4, parity=SPREAD), unseen).at_stake
    assert alone.why == "nothing else is shown to hold it"
    assert alone.bytes == HELD.bytes, "what was seen of the original, though nothing was compared with it"

from __future__ import annotations

from datetime import timedelta
from typing import Any

from coverage_audit.evidence.difference import Mode, Tally
from coverage_audit.evidence.facts import PinState
from coverage_audit.judgement.verdict import Ground, JudgedCopy, Standing
from tests.builders.cases import (
    a_comparison,
    a_copy,
    a_dated_copy,
    a_place,
    a_point,
    an_identity,
    judged_copy,
    lacking,
)
from tests.builders.station import (
    CURLEW,
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

"""How fast originals grow, out of a real ledger's nights."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import datetime, timedelta

import pytest

from coverage_audit.audits.growing import growths_of
from coverage_audit.estate.model import DatasetId
from coverage_audit.judgement.verdict import JudgedDataset
from coverage_audit.ledger.ledger import Ledger
from coverage_audit.ledger.record import AuditRecord
from tests.builders.judged import NOW, a_dataset, a_gap, a_manifest, address, an_estate, judged

GB = 10**9
MAPS = DatasetId("old-maps")


def sized(size: int | None, at: datetime) -> JudgedDataset:
    place = address("kestrel", MAPS)
    if size is None:
        return a_dataset(MAPS, (), tree=a_gap("kestrel"))
    manifest = a_manifest(place, size=size)
    return a_dataset(MAPS, (), tree=replace(manifest, origin=replace(manifest.origin, started=at, finished=at)))


def keep(ledger: Ledger, sizes: Sequence[int | None]) -> None:
    """Record one audit a night, the last of them last night."""
    for ago, size in zip(range(len(sizes), 0, -1), sizes, strict=True):
        at = NOW - timedelta(days=ago)
        one = replace(judged((sized(size, at),)), started=at, finished=at + timedelta(minutes=9))
        ledger.record(AuditRecord(judged=one, estate_text="estate: x"))


def test_a_steady_growth_is_what_it_grows_by_each_day(ledger: Ledger) -> None:
    keep(ledger, [(100 + number) * GB for number in range(12)])

    found = growths_of(an_estate(), ledger, NOW)[MAPS]

    assert found.size == 111 * GB
    assert found.a_day == pytest.approx(GB, rel=1e-6)


def test_after_few_nights_the_growth_is_not_known_and_the_size_is(ledger: Ledger) -> None:
    keep(ledger, [100 * GB, 101 * GB, 102 * GB])

    found = growths_of(an_estate(), ledger, NOW)[MAPS]

    assert (found.size, found.a_day) == (102 * GB, None)


def test_what_was_never_seen_has_neither(ledger: Ledger) -> None:
    keep(ledger, [None] * 9)

    found = growths_of(an_estate(), ledger, NOW)[MAPS]

    assert (found.size, found.a_day) == (None, None)


def test_what_shrinks_does_not_make_room_for_others(ledger: Ledger) -> None:
    keep(ledger, [(100 - number) * GB for number in range(12)])

    assert growths_of(an_estate(), ledger, NOW)[MAPS].a_day == 0


def test_what_was_long_ago_tells_no_pace(ledger: Ledger) -> None:
    keep(ledger, [(100 + number) * GB for number in range(12)])

    assert growths_of(an_estate(), ledger, NOW + timedelta(days=200)) == {}

"""What may be waived: that something was not seen; never damage, another volume, or an original that shrank away."""

from __future__ import annotations

from dataclasses import replace

import pytest

from coverage_audit.evidence.difference import Tally
from coverage_audit.evidence.facts import Gap, GapKind, PinState
from coverage_audit.judgement.case import DatasetCase, PlaceEvidence
from coverage_audit.judgement.verdict import Finding, Standing
from coverage_audit.judgement.waiving import ASKED
from tests.builders.cases import a_case, a_comparison, a_copy, a_gap, a_place, an_identity, an_original, judged_dataset
from tests.builders.station import HERON, RECORDINGS

COUNTS = {"enough-copies", "media", "offsite", "offline", "independence"}


def dark(kind: GapKind) -> PlaceEvidence:
    gap = a_gap(kind=kind)
    return a_place(HERON, device_facts=gap, volume_facts=gap, identity=gap)


def with_mirror_at(place: PlaceEvidence, gap: Gap | None = None) -> DatasetCase:
    return a_case(replace(a_copy(HERON, RECORDINGS.copies[0], place=place), comparison=None, gap=gap))


def asked(case: DatasetCase) -> list[Finding]:
    found = [finding for finding in judged_dataset(case).findings if finding.answer in ASKED]
    assert found
    return found


@pytest.mark.parametrize("kind", [GapKind.UNREACHABLE, GapKind.TIME_LIMIT, GapKind.CUT, GapKind.LOGIN])
def test_what_was_not_seen_may_be_waived_all_of_it(kind: GapKind) -> None:
    found = asked(with_mirror_at(dark(kind), a_gap(kind=kind)))

    assert {finding.rule for finding in found} >= {"mount-and-identity", "evidence-age", "completeness", "age"}
    assert all(finding.waivable for finding in found)


def test_how_a_box_does_not_answer_is_a_matter_of_chance_and_one_trouble() -> None:
    kinds = (GapKind.UNREACHABLE, GapKind.TIME_LIMIT, GapKind.CUT)
    found = [{f.id: f.kind for f in asked(with_mirror_at(dark(kind), a_gap(kind=kind)))} for kind in kinds]

    assert found[0] == found[1] == found[2]
    refused = {f.id: f.kind for f in asked(with_mirror_at(dark(GapKind.LOGIN), a_gap(kind=GapKind.LOGIN)))}
    assert refused.keys() == found[0].keys()
    assert refused != found[0]


@pytest.mark.parametrize(
    "kind", [GapKind.HOST_KEY, GapKind.NOT_MOUNTED, GapKind.ON_ROOT, GapKind.ANOTHER_VOLUME], ids=str
)
def test_a_gap_that_tells_of_another_volume_or_box_cannot(kind: GapKind) -> None:
    found = asked(with_mirror_at(dark(kind), a_gap(kind=kind)))
    assert not any(f.waivable for f in found if f.rule in COUNTS or "heron" in f.subject)


@pytest.mark.parametrize("state", [PinState.CHANGED, PinState.ASKED])
def test_another_volume_cannot_be_waived_nor_the_counts_that_fail_by_it(state: PinState) -> None:
    other = a_place(HERON, identity=an_identity(HERON.volumes[0], state, "filesystem UUID was a, is now b"))
    found = asked(a_case(a_copy(HERON, RECORDINGS.copies[0], place=other)))
    assert not any(f.waivable for f in found if f.rule in COUNTS or "heron" in f.subject)


def test_damage_cannot_be_waived_nor_the_counts_that_fail_by_it() -> None:
    few = Tally(files=3, bytes=3_000)
    case = a_case(a_copy(HERON, RECORDINGS.copies[0], comparison=a_comparison(own=few, changed=few)))
    assert judged_dataset(case).copies[0].standing is Standing.DAMAGED
    assert {f.rule for f in asked(case)} >= {"completeness", "enough-copies"}
    assert not any(f.waivable for f in asked(case) if f.rule in COUNTS or "heron" in f.subject)


def test_an_original_that_shrank_to_nearly_nothing_cannot_be_waived() -> None:
    case = a_case(a_copy(HERON, RECORDINGS.copies[0]))
    case = replace(case, original=replace(an_original(), before=Tally(files=10**9, bytes=10**15)))
    found = [finding for finding in asked(case) if "kestrel" in finding.subject or finding.rule in COUNTS]
    assert found
    assert not any(finding.waivable for finding in found)

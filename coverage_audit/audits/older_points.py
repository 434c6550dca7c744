"""Fetch older points of a dated copy, where the newest turned out to be no whole state."""

from __future__ import annotations

from collections.abc import Iterator

from coverage_audit.audits.parts import Parts
from coverage_audit.estate.model import Address
from coverage_audit.evidence.collected import Question, SeenTree
from coverage_audit.evidence.facts import Gap, VolumeFacts
from coverage_audit.judgement.case import CopyEvidence

POINTS_TRIED = 3
"""How many of the newest points are looked at for one that is complete."""


def older_points(bare: CopyEvidence, newest: Address, parts: Parts) -> Iterator[SeenTree]:
    """Fetch the trees of the points before the newest, one after the other, while its volume stays the same."""
    tried = {newest}
    while len(tried) < POINTS_TRIED:
        question = Question(
            device=bare.place.device,
            volumes=(bare.place.volume,),
            trees=(),
            pointed=(bare.copy,),
            skip_points=frozenset(tried),
        )
        (answer,) = parts.gather([question])
        if not _same_volume(bare.place.volume_facts, answer.volumes[0]):
            return  # what is mounted there now was not identified: its points are no evidence
        found = [tree for tree in answer.trees if tree.point_of == bare.copy.address]
        if not found or found[0].address in tried:
            return
        tried.add(found[0].address)
        yield found[0]


def _same_volume(first: VolumeFacts | Gap, again: VolumeFacts | Gap) -> bool:
    return not isinstance(first, Gap) and not isinstance(again, Gap) and first.mounted == again.mounted

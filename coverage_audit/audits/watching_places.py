"""What is watched of a dataset: its original, and those of its copies that are mirrors and were seen in this audit."""

from __future__ import annotations

from collections.abc import Iterable

from coverage_audit.audits.parts import Parts
from coverage_audit.audits.sighting import Sighting
from coverage_audit.audits.watching import Place, Watching, settled, watch
from coverage_audit.comparison.leaving_out import patterns_of
from coverage_audit.estate.former import lineage_of
from coverage_audit.estate.model import Dataset, Estate
from coverage_audit.evidence.facts import IdentityCheck
from coverage_audit.evidence.manifest import Manifest
from coverage_audit.judgement.case import CopyEvidence
from coverage_audit.judgement.rules import shrinkage
from coverage_audit.judgement.subjects import place_subject
from coverage_audit.judgement.verdict import Answer, JudgedEstate
from coverage_audit.ledger.turnover_record import TurnoverRecord


def watch_original(estate: Estate, dataset: Dataset, sighting: Sighting, parts: Parts) -> Watching:
    """Hold the original's tree against those before; what lies on another volume is told, and not remembered."""
    place = Place(
        dataset=dataset.id,
        address=dataset.original,
        leave_out=patterns_of(estate.litter, dataset),
        share=estate.policy(dataset.policy).shrinkage,
        lineage=lineage_of(estate),
        stands=True,
    )
    shown = sighting.trees.get(dataset.original)
    check = sighting.identities.get(dataset.original.volume)
    tree = shown.outcome if shown is not None and isinstance(check, IdentityCheck) else None
    return watch(
        place,
        tree if isinstance(tree, Manifest) else None,
        parts,
        started=sighting.at,
        trusted=isinstance(check, IdentityCheck) and check.trusted,
    )


def watch_mirror(
    estate: Estate, dataset: Dataset, copy: CopyEvidence, sighting: Sighting, parts: Parts
) -> Watching | None:
    """Hold a mirror's tree against those before (None: it is none, or was not seen in this audit)."""
    if copy.copy.points is not None or copy.copy.address.has_point:
        return None
    seen, tree = sighting.trees.get(copy.copy.address), sighting.tree(estate, copy.copy.address)
    if seen is None or not isinstance(tree, Manifest):
        return None
    place = Place(
        dataset=dataset.id,
        address=copy.copy.address,
        leave_out=patterns_of(estate.litter, dataset, copy.copy),
        share=estate.policy(dataset.policy).shrinkage,
        lineage=lineage_of(estate),
        stands=False,
    )
    return watch(place, tree, parts, started=sighting.at)


def records(watching: Iterable[Watching], judged: JudgedEstate) -> tuple[TurnoverRecord, ...]:
    """Return what the ledger is to keep: where a waiver holds of what changed at once, that was accepted."""
    accepted = {
        finding.subject
        for dataset in judged.datasets
        for finding in dataset.findings
        if finding.rule == shrinkage.RULE.id and finding.answer is Answer.WAIVED
    }
    kept = [
        settled(one) if one.record and place_subject(one.record.dataset, one.record.place) in accepted else one
        for one in watching
    ]
    return tuple(one.record for one in kept if one.record is not None)

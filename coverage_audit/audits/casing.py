"""The case of one dataset: its original's evidence, and each copy compared with it."""

from __future__ import annotations

from dataclasses import dataclass, replace

from coverage_audit.audits.comparing import CopyOutcome, OriginalTree, compare_copy
from coverage_audit.audits.exposing import exposure_of
from coverage_audit.audits.fallback import excused, place_then
from coverage_audit.audits.kinship import resemblances
from coverage_audit.audits.parts import Parts
from coverage_audit.audits.rates import rates_of
from coverage_audit.audits.remembering_drills import with_drills
from coverage_audit.audits.rooms import Rooms, volumes_of
from coverage_audit.audits.sighting import Sighting
from coverage_audit.audits.watching import Watching
from coverage_audit.audits.watching_places import watch_mirror, watch_original
from coverage_audit.estate.former import lineage_of
from coverage_audit.estate.model import Dataset, Estate
from coverage_audit.evidence.facts import Gap
from coverage_audit.judgement.case import DatasetCase, OriginalEvidence


@dataclass(frozen=True, kw_only=True)
class CaseOutcome:
    """One dataset's case with the outcomes that the ledger is to keep, and what its places lost and rewrote."""

    case: DatasetCase
    outcomes: tuple[CopyOutcome, ...]
    watching: tuple[Watching, ...] = ()


def case_of(estate: Estate, dataset: Dataset, sighting: Sighting, rooms: Rooms, parts: Parts) -> CaseOutcome:
    """Gather all evidence of one dataset, and compare its copies with its original. Raises LedgerError."""
    policy = estate.policy(dataset.policy)
    device = estate.device(dataset.original.volume.device)
    seen = sighting.tree(estate, dataset.original)
    earlier = parts.ledger.last_manifest(dataset.original, device.formerly, complete=True)
    place = sighting.place(estate, dataset.original)
    if isinstance(seen, Gap) and earlier is not None and excused(device, seen, earlier, parts):
        place = place_then(estate, place, parts)
    watching = watch_original(estate, dataset, sighting, parts)
    evidence = OriginalEvidence(
        place=place,
        tree=seen,
        as_of=earlier if isinstance(seen, Gap) else None,
        before=parts.ledger.proven_size(dataset.id, dataset.original.volume, lineage_of(estate)),
        watched=watching.watched,
    )
    tree = earlier if isinstance(seen, Gap) and earlier is not None else seen
    original = (
        tree
        if isinstance(tree, Gap)
        else OriginalTree(
            estate=estate,
            dataset=dataset,
            policy=policy,
            device=device,
            tree=tree,
            fresh=tree is seen,
            fallen=watching.rows,
        )
    )
    outcomes = tuple(
        with_drills(estate, dataset, compare_copy(estate, original, copy, sighting, parts), parts)
        for copy in dataset.copies
    )
    mirrors = [watch_mirror(estate, dataset, outcome.evidence, sighting, parts) for outcome in outcomes]
    copies = tuple(
        outcome.evidence if mirror is None else replace(outcome.evidence, watched=mirror.watched)
        for outcome, mirror in zip(outcomes, mirrors, strict=True)
    )
    case = DatasetCase(
        dataset=dataset,
        policy=policy,
        original=evidence,
        copies=copies,
        exposure=None if isinstance(tree, Gap) else exposure_of(dataset, evidence, tree, copies, estate, parts.work),
        rooms=tuple(rooms[volume] for volume in volumes_of(dataset)),
        rates=rates_of(estate, [dataset], parts.ledger),
        resembling=resemblances(copies, parts.work),
    )
    return CaseOutcome(case=case, outcomes=outcomes, watching=(watching, *(one for one in mirrors if one is not None)))

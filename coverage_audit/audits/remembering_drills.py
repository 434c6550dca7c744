"""What was read back out of each copy before, as evidence of this audit."""

from __future__ import annotations

from dataclasses import replace

from coverage_audit.audits.parts import Parts
from coverage_audit.estate.former import lineage_of
from coverage_audit.estate.model import Dataset, Estate
from coverage_audit.evidence.drilling import Drill, DrillsOfCopy
from coverage_audit.judgement.case import CopyEvidence

_NAMED = 20
"""So many files that a drill did not restore go with the evidence; the ledger knows them all."""


def with_drills(estate: Estate, dataset: Dataset, evidence: CopyEvidence, parts: Parts) -> CopyEvidence:
    """Return a copy's evidence with its drills. Raises LedgerError."""
    known = parts.ledger.drills.newest(dataset.id, evidence.copy.address, lineage_of(estate))
    fewer = DrillsOfCopy(
        newest=_shortened(known.newest),
        restored=_shortened(known.restored),
        damaged=_shortened(known.damaged),
        by_hand=known.by_hand,
    )
    return replace(evidence, drills=fewer)


def _shortened(drill: Drill | None) -> Drill | None:
    if drill is None:
        return None
    return replace(drill, incidents=drill.incidents[:_NAMED])  # the damaged ones come first

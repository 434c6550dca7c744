"""Remember: what earlier audits knew of a dated copy's recovery points, brought up to what this one sees."""

from __future__ import annotations

from dataclasses import replace

from coverage_audit.audits.parts import Parts
from coverage_audit.evidence.facts import IdentityCheck, PointList
from coverage_audit.evidence.points_past import begun_with, brought_up_to
from coverage_audit.judgement.case import CopyEvidence


def with_past(evidence: CopyEvidence, parts: Parts) -> CopyEvidence:
    """Return the evidence of a copy with the past of its points; a volume that is not trusted adds nothing."""
    if evidence.copy.points is None:
        return evidence
    before = parts.ledger.points_before(evidence.copy.address, evidence.place.device.formerly)
    identity, seen = evidence.place.identity, evidence.points
    if not isinstance(seen, PointList) or not isinstance(identity, IdentityCheck) or not identity.trusted:
        return replace(evidence, past=before and before[1])
    if before is None:
        return replace(evidence, past=begun_with(seen))
    return replace(evidence, past=brought_up_to(before[1], before[0], seen))

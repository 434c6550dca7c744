"""What was read back out of each copy before, as evidence of this audit."""

from __future__ import annotations

from dataclasses import replace

from coverage_audit.audits.comparing import CopyOutcome
from coverage_audit.audits.parts import Parts
from coverage_audit.comparison.drawing import Compared, Drawn, again
from coverage_audit.errors import ComparisonError, EvidenceError
from coverage_audit.estate.former import lineage_of
from coverage_audit.estate.model import Dataset, Estate
from coverage_audit.evidence.drilling import Drill, DrillsOfCopy, Shown, StillThere
from coverage_audit.evidence.store import open_manifest

_NAMED = 20
"""So many files that a drill did not restore go with the evidence; the ledger knows them all."""


def with_drills(estate: Estate, dataset: Dataset, outcome: CopyOutcome, parts: Parts) -> CopyOutcome:
    """Return what came of a copy, its drills with its evidence. Raises LedgerError."""
    evidence = outcome.evidence
    known = parts.ledger.drills.newest(dataset.id, evidence.copy.address, lineage_of(estate))
    still = _still(known.restored, outcome, parts)
    return replace(outcome, evidence=replace(evidence, drills=replace(shortened(known), still=still)))


def shortened(known: DrillsOfCopy) -> DrillsOfCopy:
    """Return what goes with the evidence: counts, and the first names of each."""
    return replace(
        known,
        newest=_shortened(known.newest),
        restored=_shortened(known.restored),
        damaged=_shortened(known.damaged),
        unread=_shortened(known.unread),
        outstanding=known.outstanding[:_NAMED],
    )


def _shortened(drill: Drill | None) -> Drill | None:
    if drill is None:
        return None
    return replace(drill, incidents=drill.incidents[:_NAMED], shown=(), outstanding=None)  # the damaged ones come first


def _still(drill: Drill | None, outcome: CopyOutcome, parts: Parts) -> StillThere | None:
    """Count the files of a drill that the listing compared now shows as they were (None: that cannot be told)."""
    found = outcome.compared
    if drill is None or not drill.shown or found is None or found.copy_file is None:
        return None
    if found.comparison.relation is None:
        return None
    try:
        compared = Compared(
            original=open_manifest(found.original_file),
            copy=open_manifest(found.copy_file),
            relation=found.comparison.relation,
            leave_out=(),
        )
        held = again(compared, [one.path for one in drill.shown], parts.work).held
    except (ComparisonError, EvidenceError):
        return None
    point = outcome.evidence.point
    another = point is not None and point.name != drill.point
    same = sum(_is_the_same(one, held.get(one.path), another_point=another) for one in drill.shown)
    return StillThere(files=same, of=len(drill.shown))


def _is_the_same(then: Shown, now: Drawn | None, *, another_point: bool) -> bool:
    """Whether a file bears the figures of then; ctimes count where both are known.

    In another recovery point a file of several names is the same one linked again, which moves its ctime.
    """
    if now is None or (then.size, then.mtime_ns) != (now.copy.size, now.copy.mtime_ns):
        return False
    linked_again = another_point and (now.copy.links or 1) > 1
    return linked_again or None in {then.ctime_ns, now.copy.ctime_ns} or then.ctime_ns == now.copy.ctime_ns

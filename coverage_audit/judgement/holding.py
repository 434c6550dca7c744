"""The places that hold a dataset, out of what was judged of each, so that they can be counted together."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime

from coverage_audit.estate.access import ShelfAccess
from coverage_audit.estate.model import Address, Estate
from coverage_audit.evidence.manifest import Manifest
from coverage_audit.judgement.case import PlaceEvidence
from coverage_audit.judgement.counting import Holding, Holdings
from coverage_audit.judgement.firmness import firmness_of
from coverage_audit.judgement.hosting import Machines
from coverage_audit.judgement.independence import relations
from coverage_audit.judgement.reach import OUT_OF_REACH, reach_of
from coverage_audit.judgement.same_points import counted_once
from coverage_audit.judgement.shelf import site_of, stays_attached
from coverage_audit.judgement.verdict import JudgedCopy, JudgedOriginal


def holdings_of(
    address: Address,
    original: JudgedOriginal,
    copies: Sequence[JudgedCopy],
    *,
    estate: Estate,
    machines: Machines,
    started: datetime,
) -> Holdings:
    """Put the original, which lies at `address`, and its copies together. `started` is the audit's."""
    tree = original.evidence.tree
    first = Holding(
        address=address,
        place=original.evidence.place,
        standing=original.standing,
        reason=original.reason,
        seen_at=tree.origin.started if isinstance(tree, Manifest) else None,
        attached=isinstance(tree, Manifest),
        site=site_of(original.evidence.place, estate),
        on_host=stays_attached(original.evidence.place, estate),
    )
    rest = [holding_of(copy, estate, started, worked_on=original.evidence.place) for copy in copies]
    places = (first, *rest)
    found = relations([holding.place for holding in places], estate, machines)
    found = counted_once(found, [None, *(copy.evidence.points for copy in copies)])
    return Holdings(places=places, relations=found, rehearsal=estate.rehearsal)


def holding_of(copy: JudgedCopy, estate: Estate, started: datetime, *, worked_on: PlaceEvidence) -> Holding:
    """Return one copy as a place that can be counted. `worked_on` is its original's place."""
    attached = _attached(copy, estate, started)
    reached = OUT_OF_REACH if estate.rehearsal else reach_of(worked_on, copy.evidence.place, copy.address)
    return Holding(
        address=copy.address,
        place=copy.evidence.place,
        standing=copy.standing,
        reason=copy.reason,
        seen_at=copy.evidence.tree_at,
        attached=attached,
        site=site_of(copy.evidence.place, estate),
        on_host=stays_attached(copy.evidence.place, estate),
        reached=reached,
        firmness=firmness_of(copy.evidence, estate, reached=reached, attached=attached, started=started),
    )


def _attached(copy: JudgedCopy, estate: Estate, started: datetime) -> bool:
    """Whether a copy was seen on a box in this audit; a drive that is plugged in for a while is on the shelf still."""
    if isinstance(copy.evidence.place.device.access, ShelfAccess):
        return stays_attached(copy.evidence.place, estate) is not None
    return copy.evidence.tree_at is None or copy.evidence.tree_at >= started

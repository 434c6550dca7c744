"""One snapshot that is reported under two copies is one: whatever their addresses say, they are counted once."""

from __future__ import annotations

from collections.abc import Sequence

from coverage_audit.evidence.facts import Gap, PointList
from coverage_audit.judgement.independence import Apart, Relation, Relations


def counted_once(found: Relations, points: Sequence[PointList | Gap | None]) -> Relations:
    """Relate as one all places that report a snapshot of the same identity; `points` are the places' own, in order.

    The identity is of the very snapshot on the very filesystem: one that was sent to another pool has another.
    """
    known = [_identities(each) for each in points]
    pairs = dict(found.pairs)
    for (i, j), relation in found.pairs.items():
        shared = known[i] & known[j]
        if shared and relation.apart is not Apart.ONE:
            reason = f"both report the same snapshot ({min(shared)})"
            pairs[i, j] = Relation(apart=Apart.ONE, reasons=(reason,))
    return Relations(pairs=pairs)


def _identities(points: PointList | Gap | None) -> frozenset[str]:
    if not isinstance(points, PointList):
        return frozenset()
    return frozenset(point.identity for point in points.points if point.identity is not None)

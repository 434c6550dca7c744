"""The proven recovery point: how far back one would really fall."""

from __future__ import annotations

from datetime import datetime

from coverage_audit.estate.model import Proof
from coverage_audit.evidence.facts import PointList
from coverage_audit.judgement.copy_view import CopyView


def recovery_points(view: CopyView) -> tuple[datetime | None, datetime | None]:
    """Return the proven recovery point, and the one without the few named files that stick out.

    It is the earliest start among all that is not held, never after the moment at which either side was
    observed, and for dated points no later than the point's earliest instant. (None, None): none is proven.
    """
    found = view.comparison
    if found is None:
        return (None, None) if view.needs_tree or view.wanted > Proof.DATED else _by_date(view)
    if not found.same.files or found.blind_original or found.unproven.files:
        return None, None
    bounds = [found.original_at, found.copy_at, view.now]
    bounds += [view.evidence.tree_at] if view.evidence.tree_at else []
    if view.evidence.copy.points is not None:
        if view.evidence.point is None:
            return None, None
        bounds.append(view.evidence.point.earliest)
    exact = [found.earliest_start] if found.earliest_start else []
    trimmed = [found.earliest_start_trimmed] if found.earliest_start_trimmed else exact
    return min(bounds + exact), min(bounds + trimmed)


def _by_date(view: CopyView) -> tuple[datetime | None, datetime | None]:
    newest, points = view.newest_point, view.evidence.points
    if newest is None or not isinstance(points, PointList):
        return None, None
    point = min(newest.earliest, points.at, view.now)
    return point, point

"""What is remarked about a copy's recovery points."""

from __future__ import annotations

from collections.abc import Iterator

from coverage_audit.estate.units import format_size
from coverage_audit.evidence.facts import DatedBy, PointList, RecoveryPoint
from coverage_audit.evidence.visible import visible
from coverage_audit.judgement.copy_view import CopyView
from coverage_audit.judgement.wording import when

_ALIKE = 5
"""So many newest points of exactly one size are said (common practice, no published source)."""


def about_points(view: CopyView) -> Iterator[str]:
    """Give each remark on the points as a sentence."""
    points = view.evidence.points
    if not isinstance(points, PointList):
        return
    judged = view.evidence.point or view.newest_point
    if judged is not None:
        yield from _about_time(judged, view)
        yield from judged.doubts
    if view.evidence.copy.is_opaque and judged is not None:
        yield from _about_unopened(judged, points)
    if points.refused:
        name, why = points.refused[0]
        yield f"{len(points.refused)} names among its points are none, e.g. “{visible(name)}”: {visible(why)}"


def _about_time(judged: RecoveryPoint, view: CopyView) -> Iterator[str]:
    if judged.dated_by is not DatedBy.NAME:
        yield f"its recovery points are dated by {judged.dated_by}"
    if judged.assumed_zone:
        what = "times" if judged.dated_by is DatedBy.COMMAND else "names"
        yield f"the {what} of its recovery points bear no zone: {judged.assumed_zone} is assumed"
    if judged.earliest != judged.latest:
        ends = f"between {when(judged.earliest, view.zone)} and {when(judged.latest, view.zone)}"
        yield f"“{visible(judged.name)}” may mean any time {ends}: the earliest is taken"


def _about_unopened(judged: RecoveryPoint, points: PointList) -> Iterator[str]:
    size = f" ({format_size(judged.size)})" if judged.size is not None else ""
    yield f"“{visible(judged.name)}”{size} was never opened: that it holds the dataset rests on its date alone"
    sizes = [point.size for point in points.points[-_ALIKE:]]
    if len(sizes) == _ALIKE and None not in sizes and len(set(sizes)) == 1:
        yield f"its newest {_ALIKE} points are of exactly one size: they may hold the same old state"

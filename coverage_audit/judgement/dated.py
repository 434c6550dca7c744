"""Which recovery points of a dataset's dated copies count, and what is not known of them."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta

from coverage_audit.estate.access import ShelfAccess
from coverage_audit.evidence.facts import Gap, PointList, RecoveryPoint
from coverage_audit.evidence.points_past import LeftPoint, PointsPast, begun_with
from coverage_audit.judgement.case import CopyEvidence
from coverage_audit.judgement.clock_trust import clock_doubt
from coverage_audit.judgement.context import DatasetContext
from coverage_audit.judgement.verdict import JudgedCopy
from coverage_audit.judgement.wording import when


@dataclass(frozen=True, kw_only=True)
class Dated:
    """One dated copy: the points that count, oldest first, and those that something speaks against.

    `at` is when they were listed. `unknown` says why nothing is known of them (empty: it is); then none counts, and
    `past` is what was known before.
    """

    copy: JudgedCopy
    points: tuple[RecoveryPoint, ...] = ()
    doubted: tuple[RecoveryPoint, ...] = ()
    at: datetime | None = None
    unknown: str = ""
    past: PointsPast | None = None

    @property
    def left(self) -> tuple[LeftPoint, ...]:
        """The points that were there and went, as far as they are remembered."""
        return self.past.left if self.past is not None else ()

    @property
    def open_to(self) -> timedelta:
        """How much later than its earliest instant the newest point may be of: a name of a day leaves the day open."""
        return self.points[-1].latest - self.points[-1].earliest if self.points else timedelta(0)

    def seen_since(self, since: datetime) -> list[datetime]:
        """Return the instants of all points ever seen from then on, those that went with them, each once."""
        there = {point.earliest for point in (*self.points, *self.doubted)}
        return sorted(at for at in there | {one.at for one in self.left if one.size != 0} if at >= since)


def dated_copies(context: DatasetContext) -> tuple[Dated, ...]:
    """Return the dataset's copies that have recovery points.

    Half-made, empty and future points do not count. One that its filesystem or its own time contradicts is doubted.
    """
    return tuple(_dated(copy, context) for copy in context.copies if copy.evidence.copy.points is not None)


def _dated(copy: JudgedCopy, context: DatasetContext) -> Dated:
    evidence, seen = copy.evidence, copy.evidence.points
    unknown = _unknown(evidence, context)
    if unknown or not isinstance(seen, PointList):
        return Dated(copy=copy, unknown=unknown or "its recovery points were not seen", past=evidence.past)
    latest = seen.at + context.estate.limits.clock_tolerance
    there = [
        point
        for point in sorted(seen.points, key=lambda point: point.earliest)
        if point.earliest <= latest and point.size != 0 and point.name not in evidence.half_made
    ]
    return Dated(
        copy=copy,
        points=tuple(point for point in there if not point.doubts),
        doubted=tuple(point for point in there if point.doubts),
        at=seen.at,
        past=evidence.past or begun_with(seen),
    )


def _unknown(evidence: CopyEvidence, context: DatasetContext) -> str:
    identity, points = evidence.place.identity, evidence.points
    if isinstance(identity, Gap):
        return f"it was not seen ({identity.kind})"
    if not identity.trusted:
        return "its volume is not shown to be the one pinned"
    if not isinstance(points, PointList):
        return f"its recovery points were not seen{f' ({points.kind})' if points else ''}"
    return _why_not_trusted(evidence, points, context)


def _why_not_trusted(evidence: CopyEvidence, points: PointList, context: DatasetContext) -> str:
    if not points.points and len(points.refused) > len(points.thin):
        return f"none of the {len(points.refused)} names there is a recovery point"
    if points.at < context.started and not _still_counts(evidence, points, context):
        return f"its recovery points were last seen {when(points.at, context.zone)}"
    if points.at > context.finished + context.estate.limits.clock_tolerance:
        return "its list bears a time to come"
    return clock_doubt(evidence.place, context.estate.limits.clock_tolerance) or ""


def _still_counts(evidence: CopyEvidence, points: PointList, context: DatasetContext) -> bool:
    device = evidence.place.device
    on_shelf = isinstance(device.access, ShelfAccess)
    allowed = (evidence.copy.max_age or context.policy.max_age) if on_shelf else device.may_be_off
    return allowed is not None and context.finished - points.at <= allowed

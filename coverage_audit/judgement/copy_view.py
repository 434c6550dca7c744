"""One copy's evidence beside all that it is measured by: what every step of the judgement looks at."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

from coverage_audit.estate.criteria import Verify
from coverage_audit.estate.model import Estate, Proof
from coverage_audit.evidence.difference import CopyComparison
from coverage_audit.evidence.facts import PointList, RecoveryPoint
from coverage_audit.judgement.case import CopyEvidence, DatasetCase, OriginalEvidence
from coverage_audit.judgement.content_shown import terms_of
from coverage_audit.judgement.drilled import every_of
from coverage_audit.judgement.original_standing import why_not_judged_against
from coverage_audit.judgement.verdict import Ground, Standing


@dataclass(frozen=True, kw_only=True)
class Reasoned:
    """A standing with the ground that decided it and a sentence for people.

    `point_stands`: the recovery point that the comparison gives is proven all the same.
    """

    standing: Standing
    ground: Ground
    reason: str
    point_stands: bool = True


@dataclass(frozen=True, kw_only=True)
class CopyView:
    """What is judged. `comparison` is None where there is none or `void` says why it proves nothing.

    `verify` is what must be shown of its content (None: nothing), `drill_every` how old a drill of it may be.
    `now` is when the audit ended, `started` when it began: evidence of this audit was seen since then.
    """

    evidence: CopyEvidence
    original: OriginalEvidence
    comparison: CopyComparison | None
    void: str | None
    max_age: timedelta
    wanted: Proof
    drill_every: timedelta
    verify: Verify | None
    tolerance: timedelta
    zone: ZoneInfo
    started: datetime
    now: datetime

    @property
    def seen_at(self) -> datetime | None:
        """When the copy was observed: its tree, else (where dates are enough) its list of points."""
        seen = self.evidence.tree_at
        if seen is not None and self.comparison is not None:
            return min(seen, self.comparison.copy_at)
        if seen is not None or self.needs_tree:
            return seen
        points = self.evidence.points
        return points.at if isinstance(points, PointList) else None

    @property
    def needs_tree(self) -> bool:
        """Whether its tree must have been compared; dates may be enough, and an opaque copy has no other."""
        if self.evidence.copy.is_opaque:
            return False
        return self.evidence.copy.points is None or self.wanted >= Proof.LISTED

    @property
    def newest_point(self) -> RecoveryPoint | None:
        """The newest recovery point listed, whether or not its tree was compared."""
        points = self.evidence.points
        if not isinstance(points, PointList) or not points.points:
            return None
        return max(points.points, key=lambda point: (point.earliest, point.latest))


def view_of(
    evidence: CopyEvidence, case: DatasetCase, estate: Estate, *, started: datetime, finished: datetime
) -> CopyView:
    """Lay one copy's evidence beside its criteria."""
    void = why_not_judged_against(case.original) or _nothing_to_compare(evidence.comparison)
    return CopyView(
        evidence=evidence,
        original=case.original,
        comparison=None if void else evidence.comparison,
        void=void,
        max_age=evidence.copy.max_age or case.policy.max_age,
        wanted=evidence.copy.proof if evidence.copy.proof is not None else case.policy.proof,
        drill_every=every_of(case.policy),
        verify=terms_of(evidence.copy, case.policy),
        tolerance=estate.limits.clock_tolerance,
        zone=estate.time_zone,
        started=started,
        now=finished,
    )


def _nothing_to_compare(comparison: CopyComparison | None) -> str | None:
    """Zero of zero is no proof: an original that shows nothing is held by anything."""
    if comparison is None or comparison.original.files:
        return None
    if comparison.left_out.files:
        return "every file of the original is left out: there is nothing that a copy could be proven to hold"
    return "the original shows no file at all: there is nothing that a copy could be proven to hold"

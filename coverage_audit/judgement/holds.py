"""What is shown of a place that may hold a dataset: all of it, part of it or an older state, or nothing for sure."""

from __future__ import annotations

from enum import StrEnum

from coverage_audit.evidence.facts import PointList
from coverage_audit.evidence.manifest import Manifest
from coverage_audit.judgement.case import DatasetCase
from coverage_audit.judgement.context import DatasetContext
from coverage_audit.judgement.copy_view import view_of
from coverage_audit.judgement.original_standing import why_not_judged_against
from coverage_audit.judgement.standing import is_doubted
from coverage_audit.judgement.verdict import JudgedCopy, JudgedOriginal, Standing


class Holds(StrEnum):
    """What is shown of a place."""

    ALL = "holds it"  # proven, or the original as the audit saw it
    PART = "holds part of it, or an older state"  # it has a defect, and is shown to hold something all the same
    NOT_SHOWN = "may hold it, not shown"
    NOTHING = "holds nothing of it"

    @property
    def shown(self) -> bool:
        """Whether it is shown to hold anything."""
        return self in {Holds.ALL, Holds.PART}

    @property
    def may(self) -> bool:
        """Whether it may hold something, shown or not."""
        return self is not Holds.NOTHING


def original_holds(original: JudgedOriginal) -> Holds:
    """Say what is shown of an original: what was read of it on the pinned volume is there."""
    if original.standing is Standing.PROVEN:
        return Holds.ALL
    evidence = original.evidence
    if isinstance(evidence.tree, Manifest) and why_not_judged_against(evidence) is None:
        return Holds.PART
    return Holds.NOT_SHOWN


def copy_holds(copy: JudgedCopy, context: DatasetContext) -> Holds:
    """Say what is shown of a copy. Where anything about it is in doubt a defect does not make it known."""
    if copy.standing is Standing.PROVEN:
        return Holds.ALL
    if copy.standing is Standing.UNVERIFIED or _doubted(copy, context.case, context):
        return Holds.NOT_SHOWN
    if copy.recovery_point is not None or _same(copy):
        return Holds.PART
    return Holds.NOTHING if _empty(copy) else Holds.NOT_SHOWN


def _doubted(copy: JudgedCopy, case: DatasetCase, context: DatasetContext) -> bool:
    return is_doubted(view_of(copy.evidence, case, context.estate, started=context.started, finished=context.finished))


def _same(copy: JudgedCopy) -> bool:
    found = copy.comparison
    return found is not None and found.same.files > found.unproven.files


def _empty(copy: JudgedCopy) -> bool:
    """Whether it was looked at whole and nothing of the dataset was there."""
    found, points = copy.comparison, copy.evidence.points
    if found is not None:
        return not found.same.files and not found.blind_copy and not found.under_old_name.files
    return isinstance(points, PointList) and not points.points and not points.refused

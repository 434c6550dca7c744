"""The standing of a copy: the worst that is proven first, then what is unknown, else proven."""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime

from coverage_audit.estate.model import Estate, Proof
from coverage_audit.judgement.case import CopyEvidence, DatasetCase
from coverage_audit.judgement.content_shown import in_short
from coverage_audit.judgement.copy_view import CopyView, Reasoned, view_of
from coverage_audit.judgement.defects import damaged, incomplete, stale
from coverage_audit.judgement.doubts import (
    another_volume,
    cannot_be_told,
    clock_not_trusted,
    locked_up,
    nothing_to_go_by,
    partly_seen,
    point_too_old,
    proof_reached,
    too_little_proof,
    too_old,
)
from coverage_audit.judgement.drill_damage import found_damaged
from coverage_audit.judgement.drilled import in_words
from coverage_audit.judgement.original_standing import judge_original
from coverage_audit.judgement.recovery import recovery_points
from coverage_audit.judgement.remarks import remarks
from coverage_audit.judgement.verdict import Ground, JudgedCopy, Standing
from coverage_audit.judgement.wording import amount

__all__ = ["judge_copy", "judge_original"]

_Step = Callable[[CopyView], Reasoned | None]

_DEFECTS: tuple[_Step, ...] = (damaged, found_damaged, incomplete, stale)

_DOUBTS: tuple[_Step, ...] = (
    nothing_to_go_by,
    too_old,
    point_too_old,
    clock_not_trusted,
    partly_seen,
    cannot_be_told,
    locked_up,
    too_little_proof,
)

STEPS: tuple[_Step, ...] = (another_volume, *_DEFECTS, *_DOUBTS)
"""In this order; the first that has something to say decides, what the others have to say is remarked."""


def judge_copy(
    evidence: CopyEvidence, case: DatasetCase, estate: Estate, *, started: datetime, finished: datetime
) -> JudgedCopy:
    """Judge one copy of a dataset by its evidence. `started` and `finished` are the audit's."""
    view = view_of(evidence, case, estate, started=started, finished=finished)
    found = [reasoned for step in STEPS if (reasoned := step(view)) is not None]
    decided = found[0] if found else None
    no_point = decided is not None and not decided.point_stands
    exact, trimmed = (None, None) if no_point or _untrusted(found) else recovery_points(view)
    place = evidence.place
    return JudgedCopy(
        address=evidence.copy.address,
        site=place.device.site,
        medium=place.volume.medium.value,
        standing=decided.standing if decided else Standing.PROVEN,
        proof=Proof.DECLARED if decided and decided.ground is Ground.IDENTITY else proof_reached(view),
        by_size=bool(view.comparison and view.comparison.mode.by_size),
        recovery_point=exact,
        recovery_point_trimmed=trimmed,
        reason=decided.reason if decided else _why_proven(view),
        remarks=(*dict.fromkeys(other.reason for other in found[1:]), *remarks(view)),
        evidence=evidence,
        ground=decided.ground if decided else None,
        content=in_short(evidence.verified, view.verify, view.now, view.zone),
        drill=in_words(evidence.drills, view.zone),
    )


def is_doubted(view: CopyView) -> bool:
    """Whether the copy would be unverified if it had no defect: what it is shown to have besides is not shown then.

    How old its recovery point is says nothing against what that point was shown to hold.
    """
    return any(step(view) is not None for step in (another_volume, *_DOUBTS) if step is not point_too_old)


def _untrusted(found: list[Reasoned]) -> bool:
    """Whether a recovery point would rest on a clock or on evidence that cannot be trusted."""
    return any(reasoned.ground is Ground.CLOCK for reasoned in found)


def _why_proven(view: CopyView) -> str:
    if view.comparison is None:
        return "its newest recovery point is young enough"
    held = f"all {amount(view.comparison.same)} are held"
    if view.comparison.held_back.files:
        return f"{held}, and of what changed at once in the original {amount(view.comparison.held_back)} as before"
    return f"{held}, but for what is pending" if view.comparison.pending_rows else held

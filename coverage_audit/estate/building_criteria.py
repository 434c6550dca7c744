"""From the shape of a policy to its frozen value: the criteria and their parts."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

from coverage_audit.estate.criteria import Keep, Rhythm, UnjudgedCriterion, Verify
from coverage_audit.estate.model import Policy, PolicyId, Proof
from coverage_audit.estate.shape import UNJUDGED, PolicyShape
from coverage_audit.estate.shape_of_criteria import KeepShape, RhythmShape, VerifyShape


def build_policy(policy: PolicyId, body: PolicyShape) -> Policy:
    """Build a policy; criteria in `UNJUDGED` are kept with their words, too."""
    return Policy(
        id=policy,
        copies=body.copies,
        max_age=body.max_age,
        media=body.media,
        offsite=body.offsite,
        offline=body.offline,
        proof=body.proof if body.proof is not None else Proof.LISTED,
        headroom=body.headroom,
        keep=_keep(body.keep) if body.keep is not None else None,
        rhythm=_rhythm(body.rhythm) if body.rhythm is not None else None,
        dump_size=body.dump_size,
        verify=_verify(body.verify) if body.verify is not None else None,
        drill=body.drill.every if body.drill is not None else None,
        shrinkage=body.shrinkage,
        immutable=body.immutable,
        restore_within=body.restore_within,
        unjudged=tuple(_unjudged(body)),
    )


def _unjudged(body: PolicyShape) -> Iterator[UnjudgedCriterion]:
    for name in UNJUDGED:
        if name in body.model_fields_set:
            value = getattr(body, name)
            yield UnjudgedCriterion(name=name, text=str(value))


def _verify(body: VerifyShape) -> Verify:
    return Verify(confidence=body.confidence, tolerable=body.tolerable, every=body.every)


def _keep(body: KeepShape) -> Keep:
    return Keep(
        daily=body.daily or 0,
        weekly=body.weekly or 0,
        monthly=body.monthly or 0,
        yearly=body.yearly or 0,
        span=body.span,
    )


def _rhythm(body: Rhythm | RhythmShape) -> Rhythm:
    if isinstance(body, Rhythm):
        return body
    return replace(body.every, quiet=frozenset(body.quiet), tolerance=body.tolerance)

"""Age: each copy can bring the dataset back to a moment that is younger than its `max_age`.

What it asks: the copy's `max_age`, else the policy's, of each copy by itself. Measured is the proven recovery
point: the earliest start among all that the copy does not hold, or the newest recovery point.

Why: what is younger than the recovery point would be lost. A mirror that stopped still looks like a copy.

How to mend: find out why the copy stopped (its job, its disk, its connection), run it again, audit again.

The control: NIST SP 800-53 Rev. 5 CP-9 a-c, CP-6(2) and CP-9(5); the recovery point objective of SP 800-34 Rev. 1.
"""

from __future__ import annotations

from collections.abc import Iterable

from coverage_audit.judgement.context import DatasetContext
from coverage_audit.judgement.observing import of_copy
from coverage_audit.judgement.rule import Rule, supports
from coverage_audit.judgement.subjects import place_subject
from coverage_audit.judgement.verdict import Answer, Finding, JudgedCopy, Standing
from coverage_audit.judgement.wording import age, duration, when

RULE = Rule(
    id="age",
    title="Age of the recovery point",
    control=supports("NIST SP 800-53 Rev. 5 CP-9, CP-6(2) and CP-9(5)"),
    doc=__doc__ or "",
)


def check(context: DatasetContext) -> Iterable[Finding]:
    """Hold each copy's proven recovery point against its `max_age`."""
    for copy in context.copies:
        limit = copy.evidence.copy.max_age or context.policy.max_age
        yield Finding(
            rule=RULE.id,
            subject=place_subject(context.dataset.id, copy.address),
            answer=_answer(copy, context),
            measured=_measured(copy, context),
            required=f"not older than {duration(limit)}",
            message=_message(copy, context),
            mend="Find out why the copy stopped, run it again, and audit again.",
            evidence=of_copy(copy),
            control=RULE.control,
            degree=_degree(copy),
        )


def _answer(copy: JudgedCopy, context: DatasetContext) -> Answer:
    if copy.standing is Standing.PROVEN:
        return Answer.CONFORMITY
    if copy.standing is Standing.STALE:
        return context.own_answer(Answer.NONCONFORMITY)
    if copy.standing is Standing.UNVERIFIED:
        return context.own_answer(Answer.UNVERIFIED)
    return Answer.OBSERVATION  # damaged or incomplete: completeness answers for it


def _degree(copy: JudgedCopy) -> float | None:
    """Return the recovery point in seconds before the epoch: going back is worse, growing old by itself is not."""
    return -copy.recovery_point.timestamp() if copy.recovery_point else None


def _measured(copy: JudgedCopy, context: DatasetContext) -> str:
    if copy.recovery_point is None:
        return "no proven recovery point"
    return f"{when(copy.recovery_point, context.zone)}, {age(copy.recovery_point, context.finished)}"


def _message(copy: JudgedCopy, context: DatasetContext) -> str:
    if copy.standing is Standing.PROVEN:
        return f"{copy.address} brings the dataset back to {_measured(copy, context)}."
    if copy.standing is Standing.STALE:
        return f"{copy.address} is stale: {copy.reason}."
    if copy.standing is Standing.UNVERIFIED:
        return f"How old {copy.address} is cannot be told: {copy.reason}."
    return f"{copy.address} is {copy.standing}: how old it is matters only when that is mended."

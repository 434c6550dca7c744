"""Unjudged criterion: what a policy asks for and this version cannot judge yet is said, and stays unverified.

What it asks: that every criterion of the policy is judged. One that is not is neither met nor failed.

Why: silence about a criterion would read as if it were met.

How to mend: use a version that judges it, or take the criterion out of the policy until there is one.

The control: NIST SP 800-53 Rev. 5 CP-9, of which each criterion is a part.
"""

from __future__ import annotations

from collections.abc import Iterable

from coverage_audit.judgement.context import DatasetContext
from coverage_audit.judgement.rule import Rule, supports
from coverage_audit.judgement.subjects import criterion_subject
from coverage_audit.judgement.verdict import Answer, EvidenceItem, Finding

RULE = Rule(
    id="unjudged-criterion",
    title="Criteria that cannot be judged yet",
    control=supports("NIST SP 800-53 Rev. 5 CP-9"),
    doc=__doc__ or "",
)


def check(context: DatasetContext) -> Iterable[Finding]:
    """Give one finding for each criterion that the policy declares and no rule here judges."""
    for criterion in context.policy.unjudged:
        yield Finding(
            rule=RULE.id,
            subject=criterion_subject(context.dataset.id, criterion.name),
            answer=Answer.UNVERIFIED,
            measured="not judged",
            required=f"{criterion.name}: {criterion.text}",
            message=f"“{context.policy.id}” asks for `{criterion.name}`, which this version cannot judge yet.",
            mend="Use a version that judges it, or take the criterion out of the policy until there is one.",
            evidence=(
                EvidenceItem(
                    what=f"declared: {criterion.name}: {criterion.text}",
                    where=f"policy {context.policy.id}",
                    at=None,
                    how="read from the estate file",
                ),
            ),
            control=RULE.control,
        )

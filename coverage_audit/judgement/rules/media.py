"""Media: the proven copies lie on as many kinds of medium as the policy asks for.

What it asks: the policy's `media`, counted over proven copies only, the original among them.

Why: a kind of drive can fail in a way of its own (a bad series, wear, a firmware fault); another kind does not fail
with it. A medium is what the estate declares. Where the drive itself shows that it turns, or does not, against the
declaration, that medium is not counted until the declaration is put right.

How to mend: keep one copy on another kind of medium, or correct `medium:` of the volume that is declared wrongly.

The control: NIST SP 800-53 Rev. 5 CP-9 d (protect backup information), by implication. The number two is that of
US-CERT, Data Backup Options, 2012.
"""

from __future__ import annotations

from collections.abc import Iterable

from coverage_audit.judgement.context import DatasetContext
from coverage_audit.judgement.counting import medium_doubt
from coverage_audit.judgement.rule import Rule, supports
from coverage_audit.judgement.subjects import dataset_subject
from coverage_audit.judgement.telling import standings, with_uncounted
from coverage_audit.judgement.verdict import Finding
from coverage_audit.judgement.wording import joined

RULE = Rule(
    id="media",
    title="Kinds of medium",
    control=supports("NIST SP 800-53 Rev. 5 CP-9 d"),
    doc=__doc__ or "",
)


def check(context: DatasetContext) -> Iterable[Finding]:
    """Hold the kinds of medium of the proven copies against the policy's `media`."""
    required = context.policy.media
    if required is None:
        return
    holdings = context.holdings
    span = holdings.media()
    doubts = [doubt for holding in holdings.places if (doubt := medium_doubt(holding.place, holdings.rehearsal))]
    kinds = sorted({holdings.medium(number).value for number in holdings.proven()})
    sentence = f"the proven copies lie on {joined(kinds) or 'no medium'}; {required} kinds are asked"
    yield Finding(
        rule=RULE.id,
        subject=dataset_subject(context.dataset.id),
        answer=span.answer(required),
        measured=f"{span} kinds of medium",
        required=f"at least {required} kinds of medium",
        message=with_uncounted("; ".join([sentence, *doubts]), context),
        mend="Keep a proven copy on another kind of medium, or correct `medium:` where it is declared wrongly.",
        evidence=standings(context),
        control=RULE.control,
        degree=span.lacking(required),
    )

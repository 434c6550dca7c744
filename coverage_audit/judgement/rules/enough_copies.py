"""Enough copies: as many proven copies as the policy asks for, each apart from the others, the original counted.

What it asks: the policy's `copies`. Counted is the largest set of places that are proven (seen whole, on the
pinned volume, complete, fresh and with the proof that is asked) and shown apart device by device.

Why: one loss takes all that lies on one device. Two copies on one box, or on two names of one box, are one.

How to mend: look at what is not counted and why; each such place has findings of its own (age, completeness,
mount and identity, evidence age). If all are well and still too few, declare another copy on another device.

The control: NIST SP 800-53 Rev. 5 CP-9 (system backup). The number three, the original counted as one of
them, is that of US-CERT, Data Backup Options, 2012.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from coverage_audit.estate.model import Proof
from coverage_audit.judgement.context import DatasetContext
from coverage_audit.judgement.counting import ORIGINAL
from coverage_audit.judgement.rule import Rule, supports
from coverage_audit.judgement.subjects import dataset_subject
from coverage_audit.judgement.telling import places, standings, with_uncounted
from coverage_audit.judgement.verdict import Answer, Finding
from coverage_audit.judgement.wording import copies

RULE = Rule(
    id="enough-copies",
    title="Enough copies",
    control=supports("NIST SP 800-53 Rev. 5 CP-9"),
    doc=__doc__ or "",
)


def check(context: DatasetContext) -> Iterable[Finding]:
    """Hold the number of proven copies that are apart against the policy's `copies`."""
    span, required = context.holdings.copies(), context.policy.copies
    counted = context.holdings.counted()
    sentence = f"{len(counted)} of {required} copies are proven and apart: {places(counted, context)}"
    answer = span.answer(required)
    sentence += _resting_on_less(context, counted)
    if answer is Answer.UNVERIFIED:
        sentence += f"; it would be {span.assumed} if all that is unverified were good"
    yield Finding(
        rule=RULE.id,
        subject=dataset_subject(context.dataset.id),
        answer=answer,
        measured=f"{span} proven and apart",
        required=f"at least {copies(required)}, the original counted as one",
        message=with_uncounted(sentence, context),
        mend="Mend the places that are not counted, or declare a further copy on a device of its own.",
        evidence=standings(context),
        control=RULE.control,
        degree=span.lacking(required),
    )


def _resting_on_less(context: DatasetContext, counted: Sequence[int]) -> str:
    """Say how many of the copies counted rest on dates or on sizes alone."""
    copies_counted = [context.copies[number - 1] for number in counted if number != ORIGINAL]
    by_date = sum(copy.proof is Proof.DATED for copy in copies_counted)
    by_size = sum(copy.by_size for copy in copies_counted)
    parts = [(by_date, "on dates alone"), (by_size, "on sizes alone")]
    return "".join(f"; {number} of them rest{'s' * (number == 1)} {what}" for number, what in parts if number)

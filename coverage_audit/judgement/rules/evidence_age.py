"""Evidence age: what is concluded rests on this audit's evidence, or on evidence that may be as old as it is.

What it asks: that the original and each copy were seen in this audit; or, of a device that `may_be_off`, within that
time; of a shelf drive, within the copy's `max_age`; with clocks that can be trusted and the proof that is asked.

Why: yesterday's list says nothing about today's disk. What was not observed is unverified, never covered.

How to mend: reach the device (network, account, host key, time limit) and audit again; say `may_be_off` where a device
is switched off on purpose.

The control: NIST SP 800-53 Rev. 5 CP-9(1) (backups are tested for reliability and integrity).
"""

from __future__ import annotations

from collections.abc import Iterable
from datetime import datetime

from coverage_audit.estate.access import ShelfAccess
from coverage_audit.evidence.facts import Gap, GapKind
from coverage_audit.judgement.context import DatasetContext
from coverage_audit.judgement.observing import of_copy, of_original
from coverage_audit.judgement.rule import Rule, supports
from coverage_audit.judgement.shelf import how_to_record
from coverage_audit.judgement.subjects import place_subject
from coverage_audit.judgement.verdict import Answer, Finding, Ground, JudgedCopy
from coverage_audit.judgement.wording import age, duration, when

RULE = Rule(
    id="evidence-age",
    title="Age of the evidence",
    control=supports("NIST SP 800-53 Rev. 5 CP-9(1)"),
    doc=__doc__ or "",
)


def check(context: DatasetContext) -> Iterable[Finding]:
    """Say of the original and of each copy whether the evidence of it is there and young enough."""
    yield _of_original(context)
    for copy in context.copies:
        lacking = copy.ground in {Ground.EVIDENCE, Ground.CLOCK, Ground.IDENTITY}
        yield Finding(
            rule=RULE.id,
            subject=place_subject(context.dataset.id, copy.address),
            answer=context.own_answer(Answer.UNVERIFIED) if lacking else Answer.CONFORMITY,
            measured=_seen(copy.evidence.tree_at, context, before=copy.evidence.seen_before),
            required=_required(copy, context),
            message=_message(copy, context, lacking=lacking),
            mend=_mend(copy, context),
            evidence=of_copy(copy),
            control=RULE.control,
        )


def _mend(copy: JudgedCopy, context: DatasetContext) -> str:
    gap = copy.evidence.gap
    if isinstance(copy.evidence.place.device.access, ShelfAccess) and not _news(gap):
        return _plug_in(copy, context)
    if gap is not None and gap.kind is GapKind.UNREACHABLE:
        return "Reach the device and audit again; `may_be_off` where it is switched off on purpose."
    return "Mend what stood in the way, then audit again."


def _news(gap: Gap | None) -> bool:
    return gap is not None and gap.kind is not GapKind.SHELF


def _plug_in(copy: JudgedCopy, context: DatasetContext) -> str:
    """Say what to do about a drive on the shelf, and by when."""
    seen = copy.evidence.tree_at
    allowed = copy.evidence.copy.max_age or context.policy.max_age
    by = f" by {when(seen + allowed, context.zone)}" if seen else ""
    return f"Plug {copy.address.volume.device} in{by}, then `{how_to_record(copy.address)}`, and audit again."


def _of_original(context: DatasetContext) -> Finding:
    evidence, address = context.case.original, context.dataset.original
    tree = evidence.tree
    seen = None if isinstance(tree, Gap) else tree.origin.started
    now = seen is not None and seen >= context.started
    kept = evidence.as_of.origin.started if evidence.as_of and isinstance(tree, Gap) else seen
    why = f": {tree.kind}" + (f" ({tree.detail})" if tree.detail else "") if isinstance(tree, Gap) else ""
    as_of = f"was not seen in this audit{why}; its copies are judged as of {_seen(kept, context)}"
    return Finding(
        rule=RULE.id,
        subject=place_subject(context.dataset.id, address),
        answer=Answer.CONFORMITY if now else context.originals_answer(Answer.UNVERIFIED),
        measured=_seen(kept, context),
        required="seen in this audit",
        message=f"{address} (the original) {'was seen in this audit' if now else as_of}.",
        mend="Mend what stood in the way of reading the original, then audit again.",
        evidence=of_original(context.original, str(address)),
        control=RULE.control,
    )


def _seen(at: datetime | None, context: DatasetContext, before: datetime | None = None) -> str:
    if at is None:
        return f"not seen in this audit; last {_seen(before, context)}" if before else "not seen"
    return f"seen {when(at, context.zone)}, {age(at, context.finished)}"


def _required(copy: JudgedCopy, context: DatasetContext) -> str:
    proof = copy.evidence.copy.proof if copy.evidence.copy.proof is not None else context.policy.proof
    allowed = copy.evidence.place.device.may_be_off
    if isinstance(copy.evidence.place.device.access, ShelfAccess):
        within = duration(copy.evidence.copy.max_age or context.policy.max_age)
        return f"recorded within {within}; proof at least “{proof.word}”"
    late = f", or within {duration(allowed)} while its device may be off" if allowed else ""
    return f"seen in this audit{late}; proof at least “{proof.word}”"


def _message(copy: JudgedCopy, context: DatasetContext, *, lacking: bool) -> str:
    if lacking:
        before = copy.evidence.seen_before
        last = f" (last {_seen(before, context)}: that counts no more)" if before else ""
        return f"{copy.address} is unverified: {copy.reason}{last}."
    return f"{copy.address} was {_seen(copy.evidence.tree_at, context)}; its proof is “{copy.proof.word}”."

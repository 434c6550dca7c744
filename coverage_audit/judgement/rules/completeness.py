"""Completeness: each copy holds the whole dataset, unharmed, and the original is there to compare it with.

What it asks: of a copy that it has no hole (nothing lacking although something newer is held), lacks no large part,
takes up what is pending, and changed nothing on its own. Of the original that it was read whole and did not shrink.

Why: a copy with a hole fails in the one file that is wanted. An original that is empty is held by anything: nothing
of nothing is missing, and it proves nothing.

How to mend: see which files are named; free space, names that the target cannot hold, rights and left-out patterns are
the usual causes. If the original shrank, find out whether that was meant before a mirror takes the rest.

The control: NIST SP 800-53 Rev. 5 CP-9 (system backup) and CP-9 d (integrity of backup information).
"""

from __future__ import annotations

from collections.abc import Iterable

from coverage_audit.judgement.context import DatasetContext
from coverage_audit.judgement.observing import of_copy, of_original
from coverage_audit.judgement.original_standing import why_not_whole
from coverage_audit.judgement.rule import Rule, supports
from coverage_audit.judgement.subjects import place_subject
from coverage_audit.judgement.verdict import Answer, Finding, JudgedCopy, Standing
from coverage_audit.judgement.wording import amount

RULE = Rule(
    id="completeness",
    title="Completeness",
    control=supports("NIST SP 800-53 Rev. 5 CP-9 and CP-9 d"),
    doc=__doc__ or "",
)


def check(context: DatasetContext) -> Iterable[Finding]:
    """Say of the original whether it is whole, and of each copy whether it holds it."""
    yield _of_original(context)
    for copy in context.copies:
        yield Finding(
            rule=RULE.id,
            subject=place_subject(context.dataset.id, copy.address),
            answer=_answer(copy, context),
            measured=_measured(copy),
            required="nothing lacking but what is pending, nothing changed on its own",
            message=_message(copy),
            mend=_mend(copy),
            evidence=of_copy(copy),
            control=RULE.control,
            degree=_degree(copy),
        )


def _of_original(context: DatasetContext) -> Finding:
    reason = why_not_whole(context.case.original)
    address = context.dataset.original
    return Finding(
        rule=RULE.id,
        subject=place_subject(context.dataset.id, address),
        answer=context.originals_answer(Answer.UNVERIFIED) if reason else Answer.CONFORMITY,
        measured=reason or "read whole, and not shrunk away",
        required="the original read whole, and not shrunk to nothing",
        message=f"{address} (the original): {reason or 'read whole, and not shrunk away'}.",
        mend="Find out whether that was meant before a mirror takes the rest; let the auditor's account read it all. "
        f"If it was meant: `coverage-audit preflight --accept {address.volume}`.",
        evidence=of_original(context.original, str(address)),
        control=RULE.control,
    )


def _answer(copy: JudgedCopy, context: DatasetContext) -> Answer:
    if copy.standing in {Standing.INCOMPLETE, Standing.DAMAGED}:
        return context.own_answer(Answer.NONCONFORMITY)
    if copy.standing is Standing.UNVERIFIED:
        return context.own_answer(Answer.UNVERIFIED)
    return Answer.CONFORMITY  # proven; or stale, a clean cut in time: age answers for it


def _measured(copy: JudgedCopy) -> str:
    found = copy.comparison
    if found is None:
        return "not compared"
    return f"{amount(found.missing)} missing, {amount(found.changed)} changed, {amount(found.pending)} of those pending"


def _degree(copy: JudgedCopy) -> float | None:
    """Return the bytes that the copy does not hold and that are not pending; each file counts as one besides."""
    found = copy.comparison
    if found is None:
        return None
    lacking, pending = found.missing + found.changed, found.pending + found.held_back
    return float(max(0, lacking.bytes + lacking.files - pending.bytes - pending.files))


def _mend(copy: JudgedCopy) -> str:
    if copy.standing is Standing.DAMAGED:
        return "Leave the copy as it is until you know what wrote to it; then bring the named files into line."
    if copy.comparison is None:
        return "Mend what stood in the way, then audit again."
    if copy.standing is Standing.UNVERIFIED:
        return "Audit again after the copy's next run; let the auditor's account read all of both sides."
    return "See which files are named, mend the cause (space, names, rights, left-out patterns), run the copy again."


def _message(copy: JudgedCopy) -> str:
    if copy.standing is Standing.UNVERIFIED:
        return f"Whether {copy.address} is complete cannot be told: {copy.reason}."
    if copy.standing is Standing.STALE:
        return f"{copy.address} is whole as of its recovery point; what came after it is a question of age."
    return f"{copy.address} is {copy.standing}: {copy.reason}."

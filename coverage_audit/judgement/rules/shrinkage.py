"""Shrinkage: nothing that is much went, was emptied, renamed to one new suffix or rewritten at once.

What it asks: of each original (and of each mirror by itself) that since its last listing fewer of its files and of its
bytes were lost than `shrinkage` of the policy says; where it says nothing, less than 10% and what is usual there (what
at least three of the last thirty audits saw), and never fewer than 20 files or 1 GB. That not so many files were
rewritten in place either: that share, and what is usual, or half of them until three audits know what is. So many
that were touched and have the size and time of before are told as an observation. Files that
lie elsewhere under their name, size and time have moved and are not lost. What an original lost at once stands until
it is back, or until somebody accepts it.

Why: a wrong deletion, a disk that was not mounted and mass encryption look like this on the morning after, and the next
run of a mirror takes them over. While it stands, a copy that holds the state before it is not blamed for what it lacks.

How to mend: stop the runs of the copies that are named, find out what happened, and bring back what is needed from the
state before. If it was meant, waive this finding once: the next audit starts from what is there now. Where nearly
nothing is left, accept what the volume shows instead (`preflight --accept`).

The control: NIST SP 800-53 Rev. 5 SI-7 (integrity: unauthorized changes to information are detected).
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace

from coverage_audit.estate.units import format_share
from coverage_audit.evidence.difference import Tally
from coverage_audit.evidence.facts import Gap, IdentityCheck
from coverage_audit.evidence.turnover import MassChange, Sign, Turnover, Watched
from coverage_audit.judgement import about_shrinking as words
from coverage_audit.judgement.context import DatasetContext
from coverage_audit.judgement.former_state import FormerState, former_state
from coverage_audit.judgement.observing import of_copy, of_original
from coverage_audit.judgement.original_standing import why_not_judged_against
from coverage_audit.judgement.rule import Rule, supports
from coverage_audit.judgement.subjects import place_subject
from coverage_audit.judgement.verdict import Answer, EvidenceItem, Finding, JudgedCopy
from coverage_audit.judgement.wording import amount, when
from coverage_audit.reckoning import shrinking

RULE = Rule(
    id="shrinkage",
    title="Nothing lost or rewritten at once",
    control=supports("NIST SP 800-53 Rev. 5 SI-7"),
    doc=__doc__ or "",
)


@dataclass(frozen=True, kw_only=True)
class _Said:
    answer: Answer
    measured: str
    message: str
    mend: str = ""
    degree: float | None = None
    kind: str = ""
    evidence: tuple[EvidenceItem, ...] = ()


def check(context: DatasetContext) -> Iterable[Finding]:
    """Say what the original lost or rewrote at once, and which mirrors did so by themselves."""
    watched, declared = context.case.original.watched, context.policy.shrinkage
    if watched is not None or declared is not None:
        address = context.dataset.original
        said = _of_original(watched or Watched(why_not="that was not looked at"), context)
        of = (*said.evidence, *of_original(context.original, str(address)))
        yield _finding(said, f"{address} (the original)", place_subject(context.dataset.id, address), of, context)
    for copy in context.copies:
        mirror = copy.evidence.watched
        if mirror is not None and mirror.last is not None and Sign.WENT in mirror.signs:
            said = _of_mirror(copy, mirror.last, context)
            subject = place_subject(context.dataset.id, copy.address)
            yield _finding(said, str(copy.address), subject, of_copy(copy), context)


def _finding(
    said: _Said, name: str, subject: str, evidence: tuple[EvidenceItem, ...], context: DatasetContext
) -> Finding:
    declared = context.policy.shrinkage
    share = format_share(shrinking.DEFAULT if declared is None else declared)
    asked = f"less than {share} of files or bytes lost at once"
    return Finding(
        rule=RULE.id,
        subject=subject,
        answer=said.answer,
        measured=said.measured,
        required=asked if declared is not None else f"{asked}, besides what is usual (the policy says nothing)",
        message=f"{name}: {said.message}.",
        mend=said.mend,
        evidence=evidence,
        control=RULE.control,
        degree=said.degree,
        kind=said.kind,
    )


def _of_original(watched: Watched, context: DatasetContext) -> _Said:
    if watched.standing is not None:
        said = _standing(watched.standing, context)
        if watched.last is None or not _touched(watched, context):
            return said
        return replace(said, message=f"{said.message}; since the last listing {words.touched(watched.last)}")
    if watched.last is None:
        return _not_compared(watched, context)
    turnover, declared = watched.last, context.policy.shrinkage
    measured = words.measured(turnover)
    since = f"since {when(turnover.before_at, context.zone)}"
    if shrinking.rewritten_unlearned(turnover, declared=declared, known=watched.known):
        told = f"{measured} {since}; whether that is usual is not known yet ({watched.known} audits know it)"
        return _Said(answer=Answer.OBSERVATION, measured=measured, message=told)
    if _touched(watched, context):
        told = f"{measured} {since}; {words.touched(turnover)}"
        mend = f"If nobody meant to: `coverage-audit verify {context.dataset.id} --all` reads what the files hold."
        return _Said(answer=Answer.OBSERVATION, measured=measured, message=told, mend=mend)
    return _Said(answer=Answer.CONFORMITY, measured=measured, message=f"{measured} {since}")


def _touched(watched: Watched, context: DatasetContext) -> bool:
    declared = context.policy.shrinkage
    return watched.last is not None and shrinking.touched_at_once(
        watched.last, declared=declared, usually=watched.usual, known=watched.known
    )


def _not_compared(watched: Watched, context: DatasetContext) -> _Said:
    """Say why nothing could be compared. Where the policy asks for it, what was not seen is not known."""
    if watched.first:
        answer = Answer.OBSERVATION
    elif not isinstance(context.case.original.tree, Gap):
        answer = Answer.UNVERIFIED
    elif context.policy.shrinkage is not None:
        answer = context.originals_answer(Answer.UNVERIFIED)
    else:
        answer = Answer.OBSERVATION
    told = f"what it lost is not known: {watched.why_not}"
    mend = "" if watched.first else "Let the original be seen; what it lost since its last listing is told then."
    return _Said(answer=answer, measured="not known", message=told, mend=mend)


def _standing(change: MassChange, context: DatasetContext) -> _Said:
    measured = words.measured(change.turnover)
    state = former_state(change, context)
    told = [_what(change, context), *words.signs(change), *words.named(change.turnover, context), *state.sentences]
    if not change.readable:
        told.append("how much of it still stands could not be told in this audit")
    if change.accepted is not None:
        told.append(f"accepted with what its volume shows, {when(change.accepted, context.zone)}: it ends with this")
    return _Said(
        answer=_answer(change, context),
        measured=measured,
        message="; ".join(told),
        mend=_mend(state, context),
        degree=words.degree(change.turnover),
        kind=f"a change met in the audit of {(change.grown or change.since).isoformat(timespec='seconds')}",
        evidence=_evidence(change, context),
    )


def _answer(change: MassChange, context: DatasetContext) -> Answer:
    if change.accepted is not None:
        return Answer.OBSERVATION
    identity = context.case.original.place.identity
    other = isinstance(identity, IdentityCheck) and not identity.trusted
    met_now = change.seen_at >= context.started
    return Answer.UNVERIFIED if other and met_now else Answer.NONCONFORMITY


def _what(change: MassChange, context: DatasetContext) -> str:
    before, seen = when(change.turnover.before_at, context.zone), when(change.seen_at, context.zone)
    return f"much changed at once between {before} and {seen}: {words.measured(change.turnover)}"


def _mend(state: FormerState, context: DatasetContext) -> str:
    address = context.dataset.original
    stop = f"Stop the next runs to {', '.join(state.holding)}. " if state.holding else ""
    subject = place_subject(context.dataset.id, address)
    accept = f"coverage-audit waive {RULE.id}:{subject}"
    if why_not_judged_against(context.case.original) is not None:
        accept = f"coverage-audit preflight --accept {address.volume}"
    return f"{stop}Find out what happened, and bring back what is needed. If it was meant: `{accept}`."


def _evidence(change: MassChange, context: DatasetContext) -> tuple[EvidenceItem, ...]:
    turnover, where = change.turnover, str(context.dataset.original)
    before = EvidenceItem(
        what=f"the state before: {amount(turnover.before)}",
        where=where,
        at=turnover.before_at,
        how="listed whole, and kept while this stands",
    )
    parts = (("lost", turnover.lost), ("rewritten", turnover.rewritten), ("arrived", turnover.arrived))
    told = ", ".join(f"{amount(tally)} {name}" for name, tally in parts if tally != Tally())
    now = EvidenceItem(what=told, where=where, at=turnover.at, how="two listings of the original compared")
    return (before, now)


def _of_mirror(copy: JudgedCopy, turnover: Turnover, context: DatasetContext) -> _Said:
    measured = words.measured(turnover)
    told = f"the copy itself lost much at once since {when(turnover.before_at, context.zone)}: {measured}"
    found = copy.comparison
    if found is None:
        beside = "whether the original still holds it was not compared"
        return _Said(answer=context.own_answer(Answer.UNVERIFIED), measured=measured, message=f"{told}; {beside}")
    if 2 * found.went_back.files > turnover.lost.files:
        beside = f"the original still holds {amount(found.went_back)} of it"
        mend = "Find out what deletes there, then run the copy again."
        return _Said(
            answer=context.own_answer(Answer.NONCONFORMITY),
            measured=measured,
            message=f"{told}; {beside}",
            mend=mend,
            degree=words.degree(turnover),
        )
    beside = "the original holds most of that no more either: what it has besides its original went"
    return _Said(answer=Answer.OBSERVATION, measured=measured, message=f"{told}; {beside}")

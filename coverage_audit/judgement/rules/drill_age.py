"""Drills: files were read back out of a proven copy lately, and were what they should be.

What it asks: `drill: {every}` of the policy: that of at least one proven copy, the original being none, the newest
drill that restored is not older than that. Only a drill of files drawn at random counts: of at least 20, or of
all that the copy holds, at least half of them restored. One of named files (`--path`) or of fewer (`--files`) shows
that these come back, and is shown. What a drill found damaged stays so, whatever the policy asks, until a drill reads
that very file back as it should be, or its original is gone or another version; what shows nothing is no cure.

It asks by date. The proof `restored` asks, too, that at least half of the drawn files lie in the copy with the figures
(size, mtime, ctime) that they were read back with: a copy that was rewritten since is another one.

A drill that a person did by hand is that person's word, and is shown as such. It says that there was one, so that this
is no longer known to be overdue; it was not observed, so it never meets the criterion, and it is no proof `restored`.
Who is content with that word waives the finding.

Why: a copy that nobody has ever read back is a hope. What fails in a drill (a key, a right, a disk, a tool that writes
what it cannot read) shows in no listing.

How to mend: `coverage-audit drill DATASET`; of a shelf drive it says what to plug in. Bring what is damaged back from
the original or another copy, look at the drive, and drill that copy again.

What it cannot show: that all of it would come back (`verify` says how much of it is right), nor that what uses the
files can be set up again.

The control: NIST SP 800-53 Rev. 5 CP-9(2) (test restoration using sampling) and CP-4; CIS Controls v8 11.5.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Final

from coverage_audit.evidence.drilling import Drill, DrillsOfCopy
from coverage_audit.evidence.visible import visible
from coverage_audit.judgement.context import DatasetContext
from coverage_audit.judgement.drill_damage import damaged_names
from coverage_audit.judgement.drilled import by_hand, counting, every_of, outstanding, rewritten, speed, why_not
from coverage_audit.judgement.rule import Rule, supports
from coverage_audit.judgement.subjects import criterion_subject, place_subject
from coverage_audit.judgement.verdict import Answer, EvidenceItem, Finding, JudgedCopy, Standing
from coverage_audit.judgement.wording import age, amount, duration, files, when

RULE = Rule(
    id="drill-age",
    title="Copies that were read back",
    control=supports("NIST SP 800-53 Rev. 5 CP-9(2) and CP-4, and CIS Controls v8 11.5"),
    doc=__doc__ or "",
)

_MEND: Final = "`coverage-audit drill {dataset}` reads files of a copy back and holds them against the originals."
_MEND_DAMAGE: Final = "Bring the files back from where they are right, look at the drive, and drill this copy again."


@dataclass(frozen=True, kw_only=True)
class _Said:
    answer: Answer
    measured: str
    message: str
    degree: float | None = None


def check(context: DatasetContext) -> Iterable[Finding]:
    """Say of each copy what a drill found damaged, and of the dataset whether a copy was read back lately."""
    for copy in context.copies:
        drills = copy.evidence.drills
        if drills is not None and drills.standing_damage is not None:
            yield _damage(copy, drills, drills.standing_damage, context)
    if context.policy.drill is not None:
        yield _of_dataset(context)


def _damage(copy: JudgedCopy, drills: DrillsOfCopy, drill: Drill, context: DatasetContext) -> Finding:
    names, found = damaged_names(drills), outstanding(drills)
    asked = context.policy.drill is not None
    return Finding(
        rule=RULE.id,
        subject=place_subject(context.dataset.id, copy.address),
        answer=Answer.NONCONFORMITY if asked else context.own_answer(Answer.NONCONFORMITY),
        measured=found,
        required="what is read back is what it should be",
        message=f"{copy.address}: the drill of {when(drill.at, context.zone)} found {found}: {names}.",
        mend=_MEND_DAMAGE,
        evidence=(_item(drill),),
        control=RULE.control,
        degree=float(drills.outstanding_files),
        waivable=False,
    )


def _of_dataset(context: DatasetContext) -> Finding:
    every, now = every_of(context.policy), context.finished
    drilled = [(copy, drill) for copy in context.copies if (drill := counting(copy.evidence.drills, every, now))]
    drilled.sort(key=lambda pair: pair[1].at, reverse=True)
    proven = [pair for pair in drilled if pair[0].standing is Standing.PROVEN]
    said = _proven(*proven[0], context) if proven else _not_proven(drilled, context)
    return Finding(
        rule=RULE.id,
        subject=criterion_subject(context.dataset.id, "drill"),
        answer=said.answer,
        measured=said.measured,
        required=f"a copy read back within {duration(every)}",
        message=f"{context.dataset.id}: {said.message}.",
        mend="" if said.answer is Answer.CONFORMITY else _MEND.format(dataset=context.dataset.id),
        evidence=tuple(_evidence(context.copies)),
        control=RULE.control,
        degree=said.degree,
    )


def _proven(copy: JudgedCopy, drill: Drill, context: DatasetContext) -> _Said:
    rate = f", {speed(drill)}" if drill.rate is not None else ""
    back = f"{amount(drill.restored)} came back right out of {copy.address} {age(drill.at, context.finished)}"
    known = copy.evidence.drills
    but = rewritten(known) if known is not None else None
    return _Said(
        answer=Answer.CONFORMITY,
        measured=f"read back {age(drill.at, context.finished)}",
        message=f"{back} ({drill.restored.files} of {drill.chosen} chosen{rate}){f'; but {but}' if but else ''}",
    )


def _not_proven(drilled: Sequence[tuple[JudgedCopy, Drill]], context: DatasetContext) -> _Said:
    """Say what there is where no proven copy was read back lately: what cannot be told is no breach yet."""
    if drilled:
        copy, drill = drilled[0]
        said = f"{copy.address} was read back {age(drill.at, context.finished)}, and is {copy.standing} now"
        return _Said(answer=Answer.UNVERIFIED, measured="not shown", message=said)
    every, now = every_of(context.policy), context.finished
    hands = [one.by_hand for copy in context.copies if (one := copy.evidence.drills) and one.by_hand]
    young = [one for one in hands if one.at <= now and now - one.at <= every]
    if young:
        newest = max(young, key=lambda one: one.at)
        said = f"restored {by_hand(newest, context.zone)}: {visible(newest.what or '')}"
        return _Said(answer=Answer.UNVERIFIED, measured="by hand alone", message=said)
    if any(copy.evidence.drills is None for copy in context.copies):
        return _Said(answer=Answer.UNVERIFIED, measured="not known", message="what was drilled of it is not known")
    reasons = [f"{copy.address}: {_why(copy, context)}" for copy in context.copies if not copy.evidence.copy.is_opaque]
    message = f"no copy was read back within {duration(every)}: {'; '.join(reasons) or 'it has none that could be'}"
    return _Said(answer=Answer.NONCONFORMITY, measured="none", message=message, degree=_days_over(context))


def _why(copy: JudgedCopy, context: DatasetContext) -> str:
    drills = copy.evidence.drills
    return "" if drills is None else why_not(drills, every_of(context.policy), context.finished) or ""


def _days_over(context: DatasetContext) -> float | None:
    """Return by how many days the newest drill that restored is too old."""
    known = [one.restored.at for copy in context.copies if (one := copy.evidence.drills) and one.restored]
    if not known:
        return None
    over = context.finished - max(known) - every_of(context.policy)
    return max(0.0, over.total_seconds() / 86_400)


def _evidence(copies: Sequence[JudgedCopy]) -> Iterable[EvidenceItem]:
    for copy in copies:
        drills = copy.evidence.drills
        if drills is None:
            continue
        for drill in dict.fromkeys((drills.newest, drills.restored, drills.by_hand)):
            if drill is not None:
                yield _item(drill)


def _item(drill: Drill) -> EvidenceItem:
    if drill.who is not None:
        what = f"by hand, by word of {visible(drill.who)}: {visible(drill.what or '')}"
        return EvidenceItem(what=what, where=str(drill.copy), at=drill.at, how="declared by a person")
    what = f"{drill.outcome}: of {files(drill.chosen)} {drill.restored.files} restored, {drill.damaged.files} damaged, "
    what += (
        f"{drill.unread} not read back, {drill.changed} changed meanwhile, {drill.unheld} with nothing to hold against"
    )
    return EvidenceItem(what=what, where=str(drill.copy), at=drill.at, how=f"read back {drill.way}, held by digests")

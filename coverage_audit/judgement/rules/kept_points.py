"""Kept points: the older states that the policy asks for are really there.

What it asks: `keep` of the policy. By the calendar of the estate's zone, a recovery point in each of the last days,
weeks, months and years asked for, of which the present one counts once it has its point; with `span`, points reaching
back so far and never further apart than `max_age`. All dated copies count together, also snapshots on the original's
own pool. Half-made, empty and future points do not count. What lies before the first point ever seen is not there yet,
and the day is told by which it can be.

Why: damage is often found late, when every mirror holds it. What a pruning has taken is noticed on the day on which
it is needed.

How to mend: find out why no point was made then or what deletes them, and let the pruning keep more; a state that went
comes back only if another copy still holds it.

The control: NIST SP 800-53 Rev. 5 SI-12 (retention).
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Final

from coverage_audit.estate.criteria import Keep
from coverage_audit.judgement.about_pruning import deleted_before, what_goes_next
from coverage_audit.judgement.context import DatasetContext
from coverage_audit.judgement.dated import Dated, dated_copies
from coverage_audit.judgement.independence import Apart
from coverage_audit.judgement.kept_slots import Held, Why, held
from coverage_audit.judgement.kept_span import Hole, holes
from coverage_audit.judgement.observing import of_copy
from coverage_audit.judgement.rule import Rule, supports
from coverage_audit.judgement.subjects import dataset_subject
from coverage_audit.judgement.verdict import Answer, Finding
from coverage_audit.judgement.wording import age, joined, when

RULE = Rule(
    id="kept-points",
    title="Older states that are kept",
    control=supports("NIST SP 800-53 Rev. 5 SI-12"),
    doc=__doc__ or "",
)

_NAMED: Final = 6
_ANSWERS: Final = (
    ({Why.WENT, Why.NONE}, Answer.NONCONFORMITY),
    ({Why.UNKNOWN}, Answer.UNVERIFIED),
    ({Why.NOT_YET}, Answer.OBSERVATION),
)
_MEND: Final = "Find out what deletes the points or why none was made, and let the pruning keep what is asked for."


@dataclass(frozen=True, kw_only=True)
class _Kept:
    keep: Keep
    copies: tuple[Dated, ...]
    at: datetime
    slots: tuple[Held, ...]
    holes: tuple[Hole, ...]

    @property
    def reasons(self) -> list[Why]:
        return [*(empty.why for each in self.slots for empty in each.empty), *(hole.why for hole in self.holes)]


def check(context: DatasetContext) -> Iterable[Finding]:
    """Hold the recovery points of all dated copies against what is to be kept."""
    keep, copies = context.policy.keep, dated_copies(context)
    if keep is None:
        return
    listed = [one.at for one in copies if one.at is not None]
    if not listed:
        yield _nothing_known(keep, copies, context)
        return
    at = min(max(listed), context.finished)
    quiet = context.policy.rhythm.quiet if context.policy.rhythm is not None else frozenset[int]()
    max_age = max(one.copy.evidence.copy.max_age or context.policy.max_age for one in copies)
    found = _Kept(
        keep=keep,
        copies=copies,
        at=at,
        slots=held(keep, copies, today=at.astimezone(context.zone).date(), zone=context.zone, quiet=quiet),
        holes=() if keep.span is None else holes(keep.span, copies, now=at, max_age=max_age),
    )
    answer = _answer(found)
    measured = _measured(found, context)
    said = [measured, *_lacking(found, context), *_unknown(copies), *_on_one_pool(copies, context)]
    yield Finding(
        rule=RULE.id,
        subject=dataset_subject(context.dataset.id),
        answer=answer,
        measured=measured,
        required=str(keep),
        message=f"{context.dataset.id}: {'; '.join((*said, *what_goes_next(keep, copies, context.zone)))}.",
        mend="" if answer is Answer.CONFORMITY else _MEND,
        evidence=tuple(item for one in copies for item in of_copy(one.copy)),
        control=RULE.control,
        degree=float(sum(why in {Why.WENT, Why.NONE} for why in found.reasons)),
    )


def _answer(found: _Kept) -> Answer:
    if not any(one.points or one.doubted or one.unknown for one in found.copies):
        return Answer.NONCONFORMITY
    reasons = set(found.reasons)
    return next((answer for which, answer in _ANSWERS if which & reasons), Answer.CONFORMITY)


def _measured(found: _Kept, context: DatasetContext) -> str:
    counts = [f"{each.asked - len(each.empty)} of {each.asked} {each.span}s" for each in found.slots]
    oldest = min((point.earliest for one in found.copies for point in one.points), default=None)
    if oldest is None:
        return "no recovery point that counts"
    reach = f"oldest state {when(oldest, context.zone)}, {age(oldest, context.finished)}"
    return ", ".join([*counts, reach])


def _lacking(found: _Kept, context: DatasetContext) -> Iterator[str]:
    for why in Why:
        slots = [str(empty.slot) for each in found.slots for empty in each.empty if empty.why is why]
        if slots:
            more = f" and {len(slots) - _NAMED} more" if len(slots) > _NAMED else ""
            yield f"what {why.value}: {', '.join(slots[:_NAMED])}{more}"
    for each in found.slots:
        if each.complete is not None:
            never = deleted_before(each.complete, found.copies, context.zone)
            yield f"its {each.span}s are complete by {each.complete}{never}"
    for hole in found.holes:
        yield _hole(hole, context)


def _hole(hole: Hole, context: DatasetContext) -> str:
    end = "now" if hole.before is None else when(hole.before, context.zone)
    where = f"from {when(hole.after, context.zone)} to {end}" if hole.after is not None else f"before {end}"
    by = f", complete by {hole.complete.astimezone(context.zone).date()}" if hole.complete is not None else ""
    return f"what is lacking of the span, {where}, {hole.why.value}{by}"


def _unknown(copies: Sequence[Dated]) -> Iterator[str]:
    for one in copies:
        if one.unknown:
            yield f"not known of {one.copy.address}: {one.unknown}"


def _on_one_pool(copies: Sequence[Dated], context: DatasetContext) -> Iterator[str]:
    """Say that all older states fall with the original: they are kept, and are no copy."""
    relations = context.holdings.relations.pairs
    places = {holding.address: number for number, holding in enumerate(context.holdings.places)}
    having = [one for one in copies if one.points]
    found = [relations.get((0, places[one.copy.address])) for one in having if one.copy.address in places]
    if found and all(relation is not None and relation.apart is Apart.ONE for relation in found):
        yield "all of them lie where the original does and fall with it"


def _nothing_known(keep: Keep, copies: Sequence[Dated], context: DatasetContext) -> Finding:
    why = joined(f"{one.copy.address} ({one.unknown})" for one in copies)
    said = f"nothing is known of its older states: {why}" if copies else "no copy of it has recovery points"
    return Finding(
        rule=RULE.id,
        subject=dataset_subject(context.dataset.id),
        answer=Answer.UNVERIFIED if copies else Answer.NONCONFORMITY,
        measured="not known" if copies else "no recovery points",
        required=str(keep),
        message=f"{context.dataset.id}: {said}.",
        mend="Let the copies be seen." if copies else "Declare a copy with `points`, or take `keep` out of the policy.",
        evidence=tuple(item for one in copies for item in of_copy(one.copy)),
        control=RULE.control,
    )

"""Restore time: with its device gone, the dataset is back from a proven copy within the policy's `restore_within`.

What it asks: that at least one proven copy apart from the original can bring all of it back in that time: its bytes
over the slowest of the links declared (`link`), of the drives declared, and of what drills measured, with the time to
fetch what is elsewhere (`fetch_time`). A time that no drill has measured is one that it takes at least: it can break
the criterion and never meet it.

Why: how long one can do without the data is decided before it is gone. What nobody tried is usually slower.

How to mend: drill a copy, so that its rate is known; declare `link` and `fetch_time`; keep a copy nearer, or on a
faster link; or allow more time.

The control: NIST SP 800-34 Rev. 1 (recovery time objective) and NIST SP 800-53 Rev. 5 CP-10 and CP-6(2).
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from datetime import timedelta

from coverage_audit.estate.units import format_least, format_size
from coverage_audit.judgement.bringing_back import Estimate, estimate, what_comes_back
from coverage_audit.judgement.context import DatasetContext
from coverage_audit.judgement.counting import ORIGINAL
from coverage_audit.judgement.independence import Apart
from coverage_audit.judgement.observing import of_copy
from coverage_audit.judgement.rule import Rule, supports
from coverage_audit.judgement.subjects import dataset_subject
from coverage_audit.judgement.verdict import Answer, EvidenceItem, Finding, JudgedCopy, Standing
from coverage_audit.judgement.wording import duration
from coverage_audit.reckoning.restoring import TimeBack

RULE = Rule(
    id="restore-time",
    title="Back in time",
    control=supports("NIST SP 800-34 Rev. 1 (recovery time objective) and NIST SP 800-53 Rev. 5 CP-10 and CP-6(2)"),
    doc=__doc__ or "",
)


def check(context: DatasetContext) -> Iterable[Finding]:
    """Hold the time from each copy that may bring the dataset back against the policy's `restore_within`."""
    within = context.policy.restore_within
    if within is None:
        return
    proven = _estimates(context, Standing.PROVEN, {Apart.SHOWN})
    perhaps = _estimates(context, Standing.UNVERIFIED, {Apart.SHOWN, Apart.NOT_SHOWN})
    perhaps += _estimates(context, Standing.PROVEN, {Apart.NOT_SHOWN})
    answer = _answer(proven, perhaps, within)
    best = min(proven, key=lambda one: (not (one.shown and one.least <= within), one.least), default=None)
    yield Finding(
        rule=RULE.id,
        subject=dataset_subject(context.dataset.id),
        answer=answer,
        measured=_measured(best),
        required=f"back within {duration(within)}",
        message=_message(context, best, answer),
        mend="Drill a copy so that its rate is known, declare `link` and `fetch_time`, or keep a copy nearer.",
        evidence=(*_evidence(proven), *(item for copy in context.copies for item in of_copy(copy)[:1])),
        control=RULE.control,
        degree=None if best is None else max(0.0, (best.least - within) / timedelta(hours=1)),
    )


def _answer(proven: Sequence[Estimate], perhaps: Sequence[Estimate], within: timedelta) -> Answer:
    if any(one.shown and one.least <= within for one in proven):
        return Answer.CONFORMITY
    if any(one.least <= within for one in (*proven, *perhaps)):
        return Answer.UNVERIFIED
    return Answer.NONCONFORMITY


def _estimates(context: DatasetContext, standing: Standing, apart: set[Apart]) -> list[Estimate]:
    places, relations = context.holdings.places, context.holdings.relations
    return [
        _estimate(copy, context)
        for number, copy in enumerate(context.copies, start=ORIGINAL + 1)
        if places[number].standing is standing and relations.between(ORIGINAL, number).apart in apart
    ]


def _estimate(copy: JudgedCopy, context: DatasetContext) -> Estimate:
    size = what_comes_back(copy, context)
    if size is None:
        why = f"how much {context.dataset.id} is was never seen"
        return Estimate(source=copy.address, time=None, shown=False, open=why)
    return estimate(copy.address, context.dataset.original, size.bytes, context.estate, context.case.rates)


def _measured(best: Estimate | None) -> str:
    if best is None:
        return "no proven copy apart from the original"
    if best.time is None:
        return f"not known: {best.open}"
    return f"{_time(best, best.time)} from {best.source}"


def _time(best: Estimate, time: TimeBack) -> str:
    return duration(time.time) if best.shown else format_least(time.time)


def _message(context: DatasetContext, best: Estimate | None, answer: Answer) -> str:
    if best is None:
        unless = "; one that is unverified may be" if answer is Answer.UNVERIFIED else ""
        return f"With its device gone no copy is proven from which {context.dataset.id} could come back{unless}."
    if best.time is None:
        return f"How long {context.dataset.id} takes to come back from {best.source} cannot be told: {best.open}."
    fetched = f", {duration(best.time.fetching)} of it to have it here" if best.time.fetching else ""
    not_shown = f"; {best.open}" if best.open else ""
    return (
        f"{format_size(best.time.size)} are back from {best.source} in {_time(best, best.time)}{fetched}; "
        f"slowest is {best.time.bottleneck.what}{not_shown}."
    )


def _evidence(estimates: Iterable[Estimate]) -> Iterable[EvidenceItem]:
    for one in estimates:
        if one.time is not None:
            for assumption in one.time.assumptions:
                yield EvidenceItem(what=assumption, where=str(one.source), at=None, how="reckoned")

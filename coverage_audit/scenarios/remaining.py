"""A dataset's policy judged again on what is left of its places, by the rules of every audit.

Where the original is gone the best of the others stands in its place: what is at another site is reckoned from there.
Only what a rule says of the whole dataset counts: what it says of a single place is as it was. Nothing gets better by
a loss: a criterion that failed before fails on.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from typing import Final

from coverage_audit.evidence.facts import Gap, GapKind
from coverage_audit.judgement.case import OriginalEvidence
from coverage_audit.judgement.context import DatasetContext
from coverage_audit.judgement.counting import ORIGINAL
from coverage_audit.judgement.holding import holdings_of
from coverage_audit.judgement.judge import findings_of
from coverage_audit.judgement.subjects import dataset_subject
from coverage_audit.judgement.verdict import Answer, Conclusion, Finding, JudgedCopy, JudgedOriginal, Standing
from coverage_audit.scenarios.loss import BelowPolicy
from coverage_audit.scenarios.material import DatasetMaterial

_GRAVITY: Final = (Answer.CONFORMITY, Answer.OBSERVATION, Answer.WAIVED, Answer.UNVERIFIED, Answer.NONCONFORMITY)
_FAILS: Final = frozenset({Answer.NONCONFORMITY, Answer.UNVERIFIED})


@dataclass(frozen=True, kw_only=True)
class Remaining:
    """Which places are left, by their numbers; of the `doubtful` that is not shown. `stand_in` is the new original."""

    left: tuple[int, ...]
    doubtful: tuple[int, ...]
    stand_in: int | None


@dataclass(frozen=True, kw_only=True)
class Below:
    """The criteria that fail or are not shown on what is left, the worst first, and what follows for the dataset."""

    criteria: tuple[BelowPolicy, ...]
    conclusion: Conclusion


def below_policy(dataset: DatasetMaterial, remaining: Remaining) -> Below:
    """Judge the policy again on what is left."""
    before = _of_the_dataset(dataset.findings, dataset.context)
    answered = {finding.rule: finding for finding in _of_the_dataset(dataset.judged.findings, dataset.context).values()}
    context = remaining_context(dataset.context, remaining)
    after = _of_the_dataset(findings_of(context), context) if context is not None else {}
    below = tuple(_below(before, after, answered))
    return Below(
        criteria=tuple(sorted(below, key=lambda one: (-_gravity(one.finding), one.finding.rule))),
        conclusion=_conclusion(dataset.judged.conclusion, below),
    )


def _below(
    before: Mapping[str, Finding], after: Mapping[str, Finding], answered: Mapping[str, Finding]
) -> Iterable[BelowPolicy]:
    for rule, finding in after.items():
        was = before.get(rule)
        worse = was is None or (_gravity(finding), finding.degree or 0) > (_gravity(was), was.degree or 0)
        told = answered.get(rule)
        if finding.answer in _FAILS and worse:
            yield BelowPolicy(finding=finding, before=told.answer if told is not None else None)
        elif told is not None and told.answer in _FAILS:
            yield BelowPolicy(finding=told, before=told.answer)


def _gravity(finding: Finding) -> int:
    return _GRAVITY.index(finding.answer)


def _conclusion(before: Conclusion, below: Iterable[BelowPolicy]) -> Conclusion:
    answers = {one.finding.answer for one in below}
    if Answer.NONCONFORMITY in answers or before is Conclusion.NONCONFORMING:
        return Conclusion.NONCONFORMING
    return Conclusion.UNVERIFIED if Answer.UNVERIFIED in answers else before


def _of_the_dataset(findings: Iterable[Finding], context: DatasetContext) -> dict[str, Finding]:
    """Return what rules say of the dataset as a whole, by rule; of several of one rule the gravest."""
    subject = dataset_subject(context.dataset.id)
    found: dict[str, Finding] = {}
    for finding in findings:
        other = found.get(finding.rule)
        if finding.subject == subject and (other is None or _gravity(finding) > _gravity(other)):
            found[finding.rule] = finding
    return found


def remaining_context(context: DatasetContext, remaining: Remaining) -> DatasetContext | None:
    """Return a dataset's context with what is left (None: nothing is)."""
    if remaining.stand_in is None:
        return None
    copies = tuple(
        _doubted(context.copies[number - 1], doubtful=number in remaining.doubtful)
        for number in remaining.left
        if number not in {ORIGINAL, remaining.stand_in}
    )
    original = context.original
    address = context.dataset.original
    if remaining.stand_in != ORIGINAL:
        stand_in = _doubted(context.copies[remaining.stand_in - 1], doubtful=remaining.stand_in in remaining.doubtful)
        original, address = _in_its_place(stand_in), stand_in.address
    declared = tuple(copy.evidence.copy for copy in copies)
    case = replace(
        context.case,
        dataset=replace(context.dataset, original=address, copies=declared),
        original=original.evidence,
        copies=tuple(copy.evidence for copy in copies),
    )
    holdings = holdings_of(
        address, original, copies, estate=context.estate, machines=context.machines, started=context.started
    )
    return replace(context, case=case, original=original, copies=copies, holdings=holdings)


def _doubted(copy: JudgedCopy, *, doubtful: bool) -> JudgedCopy:
    if not doubtful or copy.standing is not Standing.PROVEN:
        return copy
    return replace(copy, standing=Standing.UNVERIFIED, reason="it is not shown to be apart from what is gone")


def _in_its_place(copy: JudgedCopy) -> JudgedOriginal:
    evidence = copy.evidence
    nothing = Gap(
        subject=str(copy.address),
        kind=GapKind.NOT_YET,
        detail="it would be worked on here from then on",
        at=evidence.place.identity.at if isinstance(evidence.place.identity, Gap) else evidence.place.volume_facts.at,
    )
    return JudgedOriginal(
        standing=copy.standing,
        reason=copy.reason,
        evidence=OriginalEvidence(place=evidence.place, tree=nothing),
        proof=copy.proof,
    )

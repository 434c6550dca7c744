"""What a reader wants first, in its order: am I covered; what is not, since when, how much is at stake, what to do.

Text and page say it in these same words; nothing is judged here.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Final

from coverage_audit.estate.model import DatasetId, Proof
from coverage_audit.evidence.difference import Tally
from coverage_audit.judgement.verdict import (
    Answer,
    Conclusion,
    Finding,
    JudgedDataset,
    JudgedEstate,
    Standing,
)
from coverage_audit.judgement.wording import amount, joined

DECIDING: Final = {
    Conclusion.NONCONFORMING: Answer.NONCONFORMITY,
    Conclusion.UNVERIFIED: Answer.UNVERIFIED,
}
_WORST_FIRST: Final = (Conclusion.NONCONFORMING, Conclusion.UNVERIFIED, Conclusion.CONFORMING)
_ANSWERS: Final = (
    Answer.NONCONFORMITY,
    Answer.UNVERIFIED,
    Answer.WAIVED,
    Answer.OBSERVATION,
    Answer.CONFORMITY,
)
# What keeps a place from being counted, before the counts that fail because of it: who mends the first of these
# mends the counts as well. Rules that are not named here come after, in the order of the judgement.
_CAUSES: Final = ("mount-and-identity", "feasibility", "evidence-age", "content", "completeness", "age")


@dataclass(frozen=True, kw_only=True)
class Worry:
    """One thing that is not as it must be: a dataset (`dataset`), or the estate itself (None).

    `finding` is the one to begin with; `others` are the rest of its kind. `since` is the earliest of them;
    None: since this audit. `stake` says how much no copy holds, in words.
    """

    dataset: DatasetId | None
    conclusion: Conclusion
    finding: Finding
    others: tuple[Finding, ...]
    since: datetime | None
    stake: str


@dataclass(frozen=True, kw_only=True)
class Situation:
    """The conclusion in a sentence, what it rests on, and the worries, the worst first."""

    sentence: str
    basis: str
    worries: tuple[Worry, ...]


def situation(judged: JudgedEstate, since: Mapping[str, datetime]) -> Situation:
    """Sum a judged audit up. `since` says when each open finding began (by finding id)."""
    worries = [worry for dataset in worst_first(judged.datasets) if (worry := _worry_of(dataset, since)) is not None]
    own = _worry(None, judged.findings, _conclusion_of(judged.findings), since, "")
    if own is not None:
        worries.append(own)
    return Situation(sentence=_sentence(judged), basis=_basis(judged), worries=tuple(worries))


def worst_first(datasets: tuple[JudgedDataset, ...]) -> tuple[JudgedDataset, ...]:
    """Order datasets for a reader: the worst conclusion, then the most that no copy holds, then by name."""
    return tuple(sorted(datasets, key=lambda each: (_WORST_FIRST.index(each.conclusion), -_exposed(each), each.id)))


def by_weight(findings: tuple[Finding, ...]) -> tuple[Finding, ...]:
    """Order findings for a reader: what fails, what is unknown, what is waived, remarks, what conforms."""
    return tuple(sorted(findings, key=lambda each: _ANSWERS.index(each.answer)))


def began(findings: tuple[Finding, ...], since: Mapping[str, datetime]) -> datetime | None:
    """Return the earliest begin that is known of these findings."""
    return min((since[finding.id] for finding in findings if finding.id in since), default=None)


def _worry_of(dataset: JudgedDataset, since: Mapping[str, datetime]) -> Worry | None:
    return _worry(dataset.id, dataset.findings, dataset.conclusion, since, _stake(dataset))


def _worry(
    dataset: DatasetId | None,
    findings: tuple[Finding, ...],
    conclusion: Conclusion,
    since: Mapping[str, datetime],
    stake: str,
) -> Worry | None:
    deciding = sorted((each for each in findings if each.answer is DECIDING.get(conclusion)), key=cause_rank)
    if not deciding:
        return None
    return Worry(
        dataset=dataset,
        conclusion=conclusion,
        finding=deciding[0],
        others=tuple(deciding[1:]),
        since=began(tuple(deciding), since),
        stake=stake,
    )


def cause_rank(finding: Finding) -> int:
    """Rank a finding: the smaller, the nearer it is to what others follow from."""
    return _CAUSES.index(finding.rule) if finding.rule in _CAUSES else len(_CAUSES)


def _conclusion_of(findings: tuple[Finding, ...]) -> Conclusion:
    answers = {finding.answer for finding in findings}
    for conclusion, answer in DECIDING.items():
        if answer in answers:
            return conclusion
    return Conclusion.CONFORMING


def _exposed(dataset: JudgedDataset) -> int:
    return dataset.exposure.bytes if dataset.exposure else 0


def _stake(dataset: JudgedDataset) -> str:
    """Say how much no copy holds: unknown is said as unknown, never as nothing."""
    exposure = dataset.exposure
    if exposure is None:
        return "not known: what the copies hold could not be told"
    if not exposure.files and not exposure.bytes:
        return "nothing: some copy holds every file"
    lacking = amount(Tally(files=exposure.files, bytes=exposure.bytes))
    return f"{lacking} that no copy is proven to hold"


def _sentence(judged: JudgedEstate) -> str:
    total = len(judged.datasets)
    counts = {
        conclusion: sum(dataset.conclusion is conclusion for dataset in judged.datasets) for conclusion in _WORST_FIRST
    }
    scope = _datasets(total) if judged.whole else f"the {_datasets(total)} asked for (not the whole estate)"
    failing, unknown = counts[Conclusion.NONCONFORMING], counts[Conclusion.UNVERIFIED]
    parts = []
    if failing:
        parts.append(f"{failing} of {scope} {'is' if failing == 1 else 'are'} not covered as demanded")
    if unknown:
        rest = f"{unknown} more" if failing else f"{unknown} of {scope}"
        parts.append(f"{rest} {'is' if unknown == 1 else 'are'} unverified")
    if not parts:
        parts.append(_covered(total, scope))
    own = _conclusion_of(judged.findings)
    if own is not Conclusion.CONFORMING:
        parts.append(f"the estate itself is {own}")
    waived = f", with {_count(judged.waived, 'waiver')}" if judged.waived else ""
    rehearsal = "Rehearsal. " if judged.rehearsal else ""
    return f"{rehearsal}{judged.conclusion.capitalize()}: {joined(parts)}{waived}."


def _covered(total: int, scope: str) -> str:
    if total == 0:
        return "no dataset was judged"
    return f"{scope} is covered as demanded" if total == 1 else f"all {scope} are covered as demanded"


def _basis(judged: JudgedEstate) -> str:
    """Say on what the copies' standings rest, so that a weaker proof is never taken for a stronger."""
    copies = [copy for dataset in judged.datasets for copy in dataset.copies]
    proven = [copy for copy in copies if copy.standing is Standing.PROVEN]
    dated = sum(copy.proof <= Proof.DATED for copy in proven)
    sized = sum(copy.by_size for copy in proven)
    weaker = [
        f"{_count(number, 'rests' if number == 1 else 'rest', plain=True)} on {what} alone"
        for number, what in ((dated, "dates"), (sized, "sizes"))
        if number
    ]
    said = f"{len(proven)} of {_count(len(copies), 'declared copy', 'declared copies')} proven"
    return f"{said}, of which {joined(weaker)}." if weaker else f"{said}."


def _datasets(total: int) -> str:
    return _count(total, "dataset")


def _count(number: int, one: str, many: str | None = None, *, plain: bool = False) -> str:
    word = one if number == 1 or plain else many or f"{one}s"
    return f"{number} {word}"


def span_since(begun: datetime | None, now: datetime) -> timedelta | None:
    """Return how long something has been so; None where it began with this audit."""
    return now - begun if begun is not None and begun < now else None

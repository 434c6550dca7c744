"""How findings changed from one audit to the next: a pure reckoning over what stood before and what is found now.

A finding is open while its answer is nonconformity or unverified. It keeps the moment at which it began for as
long as it is open, however it worsens or eases. An audit of some datasets touches only the findings that it
answers and those of these datasets.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime

from coverage_audit.estate.model import DatasetId
from coverage_audit.judgement.verdict import Answer, Conclusion, Finding, JudgedEstate
from coverage_audit.ledger.record import OPEN, TransitionKind

_WORST_FIRST = (Answer.NONCONFORMITY, Answer.UNVERIFIED, Answer.WAIVED, Answer.OBSERVATION, Answer.CONFORMITY)


@dataclass(frozen=True, kw_only=True)
class Stood:
    """A finding as earlier audits left it; `since` is None where it was not open."""

    finding: Finding
    dataset: DatasetId | None
    since: datetime | None


@dataclass(frozen=True, kw_only=True)
class Found:
    """A finding of this audit, with the conclusion to which it belongs."""

    finding: Finding
    dataset: DatasetId | None
    conclusion: Conclusion


@dataclass(frozen=True, kw_only=True)
class Change:
    """One finding's change; `answer` None: it is not asked for any more."""

    kind: TransitionKind
    finding: Finding
    dataset: DatasetId | None
    answer: Answer | None
    since: datetime


def findings_of(judged: JudgedEstate) -> dict[str, Found]:
    """Return all findings of an audit by id; where one id was answered twice, the worse answer."""
    listed = [
        Found(finding=finding, dataset=dataset.id, conclusion=dataset.conclusion)
        for dataset in judged.datasets
        for finding in dataset.findings
    ]
    listed += [Found(finding=finding, dataset=None, conclusion=judged.conclusion) for finding in judged.findings]
    listed.sort(key=lambda found: _WORST_FIRST.index(found.finding.answer))
    worst: dict[str, Found] = {}
    for found in listed:
        worst.setdefault(found.finding.id, found)
    return worst


def vanished(stood: Mapping[str, Stood], found: Mapping[str, Found], judged: JudgedEstate) -> tuple[str, ...]:
    """Return the ids that this audit should have answered and did not: their subject left the estate."""
    asked = {dataset.id for dataset in judged.datasets}
    return tuple(
        name for name, before in stood.items() if name not in found and (judged.whole or before.dataset in asked)
    )


def since(stood: Stood | None, finding: Finding, at: datetime) -> datetime | None:
    """Return since when a finding of the audit begun at `at` is open (None: it is not)."""
    if finding.answer not in OPEN:
        return None
    return at if stood is None or stood.since is None else stood.since


def changes(
    stood: Mapping[str, Stood], found: Mapping[str, Found], gone: Iterable[str], at: datetime
) -> tuple[Change, ...]:
    """Return the changes of the audit begun at `at`, in the order of the ids."""
    changed = [_change(stood.get(name), now, at) for name, now in found.items()]
    changed += [_ended(stood[name], None) for name in gone]
    return tuple(sorted((one for one in changed if one is not None), key=lambda one: one.finding.id))


def _change(before: Stood | None, now: Found, at: datetime) -> Change | None:
    answer = now.finding.answer
    if before is None or before.since is None:
        return _open(TransitionKind.BEGUN, now, at) if answer in OPEN else None
    if answer not in OPEN:
        return _ended(before, now)
    if answer is before.finding.answer:
        return None
    kind = TransitionKind.WORSENED if answer is Answer.NONCONFORMITY else TransitionKind.EASED
    return _open(kind, now, before.since)


def _open(kind: TransitionKind, now: Found, begun: datetime) -> Change:
    return Change(kind=kind, finding=now.finding, dataset=now.dataset, answer=now.finding.answer, since=begun)


def _ended(before: Stood, now: Found | None) -> Change | None:
    if before.since is None:
        return None
    return Change(
        kind=TransitionKind.ENDED,
        finding=now.finding if now else before.finding,
        dataset=now.dataset if now else before.dataset,
        answer=now.finding.answer if now else None,
        since=before.since,
    )

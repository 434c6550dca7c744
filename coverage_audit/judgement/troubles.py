"""What sort of trouble a finding tells of, and whether any owner may accept it for a while.

Damage and another volume are never accepted: neither the finding of the place that shows them, nor the counts of
its dataset, which fail because of it. That a place was not seen is missing evidence, and may be.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from typing import Final

from coverage_audit.evidence.facts import Gap, GapKind, IdentityCheck
from coverage_audit.judgement.case import PlaceEvidence
from coverage_audit.judgement.context import DatasetContext
from coverage_audit.judgement.original_standing import why_not_judged_against
from coverage_audit.judgement.subjects import dataset_subject, place_subject
from coverage_audit.judgement.verdict import Finding, Ground, JudgedCopy, JudgedOriginal, Standing

_OTHER_VOLUME: Final = frozenset({GapKind.HOST_KEY, GapKind.NOT_MOUNTED, GapKind.ON_ROOT, GapKind.ANOTHER_VOLUME})
_NO_ANSWER: Final = frozenset({GapKind.UNREACHABLE, GapKind.TIME_LIMIT, GapKind.CUT})
"""Which of these it is, is a matter of chance: a box that does not answer well is one trouble."""


@dataclass(frozen=True, kw_only=True)
class _Trouble:
    kind: str
    grave: bool


def with_troubles(findings: Iterable[Finding], context: DatasetContext) -> tuple[Finding, ...]:
    """Say of each finding of a dataset what sort of trouble its place has, and whether it may be waived."""
    places = {place_subject(context.dataset.id, context.dataset.original): _of_original(context.original)}
    places |= {place_subject(context.dataset.id, copy.address): _of_copy(copy) for copy in context.copies}
    grave = any(trouble.grave for trouble in places.values())
    whole = _Trouble(kind="", grave=grave)
    troubles = {dataset_subject(context.dataset.id): whole, **places}
    return tuple(_with(finding, troubles.get(finding.subject)) for finding in findings)


def _with(finding: Finding, trouble: _Trouble | None) -> Finding:
    if trouble is None:
        return finding
    return replace(finding, kind=finding.kind or trouble.kind, waivable=finding.waivable and not trouble.grave)


def _of_copy(copy: JudgedCopy) -> _Trouble:
    gaps = [copy.evidence.place.identity, copy.evidence.gap, copy.evidence.points]
    damaged = copy.standing is Standing.DAMAGED or copy.ground in {Ground.CONTENT, Ground.IDENTITY}
    words = [str(copy.standing), str(copy.ground or ""), _why(gaps)]
    return _Trouble(kind=_said(words), grave=damaged or _is_another(copy.evidence.place, gaps))


def _of_original(original: JudgedOriginal) -> _Trouble:
    evidence = original.evidence
    gaps = [evidence.place.identity, evidence.tree]
    decayed = original.standing is Standing.DAMAGED
    shrunk = why_not_judged_against(evidence) is not None and isinstance(evidence.place.identity, IdentityCheck)
    return _Trouble(
        kind=_said([str(original.standing), _why(gaps)]), grave=shrunk or decayed or _is_another(evidence.place, gaps)
    )


def _is_another(place: PlaceEvidence, seen: Iterable[object]) -> bool:
    """Whether the volume was seen to be another one, or what is there could not be taken for it."""
    if isinstance(place.identity, IdentityCheck):
        return not place.identity.trusted
    return any(isinstance(one, Gap) and one.kind in _OTHER_VOLUME for one in (*seen, place.device_facts))


def _why(seen: Iterable[object]) -> str:
    for one in seen:
        if isinstance(one, Gap):
            return "no answer" if one.kind in _NO_ANSWER else str(one.kind)
    return ""


def _said(words: Iterable[str]) -> str:
    return ", ".join(filter(None, words))

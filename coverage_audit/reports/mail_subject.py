"""The subject of the weekly mail: it alone tells the conclusion, what is worst, since when, and what is at stake."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Final
from zoneinfo import ZoneInfo

from coverage_audit.estate.units import format_size
from coverage_audit.evidence.visible import visible
from coverage_audit.judgement.verdict import Conclusion, JudgedDataset, JudgedEstate
from coverage_audit.judgement.wording import cut, day, files, so_many
from coverage_audit.reports.lead import Lead
from coverage_audit.reports.running_out import Due
from coverage_audit.reports.situation import Worry

_LONGEST_NAME: Final = 40


def week_subject(judged: JudgedEstate, lead: Lead, worries: Sequence[Worry], due: Sequence[Due]) -> str:
    """Return one printable line, e.g. `Saltreach, week: 1 of 12 not covered: letters since 2026-11-03, 3 files ...`."""
    said = ", ".join(_said(judged, lead, worries, due))
    return f"{'[rehearsal] ' if judged.rehearsal else ''}{cut(judged.estate, _LONGEST_NAME)}, the week: {said}"


def no_audit_subject(estate: str) -> str:
    """Return the subject of a week of which no audit can be told."""
    return f"{cut(estate, _LONGEST_NAME)}, the week: nothing is proven, there is no audit to tell of"


def _said(judged: JudgedEstate, lead: Lead, worries: Sequence[Worry], due: Sequence[Due]) -> Iterator[str]:
    if lead.old:
        yield lead.caveats[0].rstrip(".").replace("; ", ", ").replace("The last", "the last", 1)
    yield from _counts(judged, old=lead.old, unsure=lead.conclusion is not judged.conclusion)
    if worries:
        yield _worst(worries[0], judged)
    elif not lead.old:
        yield from (f"next: {visible(one.what)} {one.within}" for one in [one for one in due if not one.over][:1])


def _counts(judged: JudgedEstate, *, old: bool, unsure: bool) -> Iterator[str]:
    total = len(judged.datasets)
    then = "then " if old else ""
    failing = sum(dataset.conclusion is Conclusion.NONCONFORMING for dataset in judged.datasets)
    unknown = sum(dataset.conclusion is Conclusion.UNVERIFIED for dataset in judged.datasets)
    if failing:
        yield f"{then}{failing} of {total} not covered"
    if unknown:
        yield f"{unknown} more unverified" if failing else f"{then}{unknown} of {total} unverified"
    if not failing and not unknown:
        every = "all" if total > 1 else "1 of"
        yield f"{then}{every} {total} covered" if total else "no dataset was judged"
    if judged.waived:
        yield so_many(judged.waived, "waiver")
    if unsure and not old:
        yield "some not judged yet"


def _worst(worry: Worry, judged: JudgedEstate) -> str:
    name = "the estate itself" if worry.dataset is None else cut(worry.dataset, _LONGEST_NAME)
    zone = ZoneInfo(judged.time_zone)
    since = f" since {day(worry.since, zone)}" if worry.since is not None else " since this audit"
    found = next((dataset for dataset in judged.datasets if dataset.id == worry.dataset), None)
    return f"worst: {name}{since}{_stake(found)}"


def _stake(dataset: JudgedDataset | None) -> str:
    if dataset is None:
        return ""
    if dataset.exposure is None:
        return ", at stake: not known"
    if not dataset.exposure.files:
        return ", every file is held by some copy"
    return f", at stake: {files(dataset.exposure.files)}, {format_size(dataset.exposure.bytes)}"

"""The audit as text for a terminal: it reads well aloud, from the conclusion down to each finding's name."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from datetime import datetime
from typing import Final
from zoneinfo import ZoneInfo

from coverage_audit.estate.changes import EstateChange, in_one_line
from coverage_audit.estate.units import format_duration, format_size
from coverage_audit.evidence.difference import Tally
from coverage_audit.evidence.manifest import CompleteManifest, PartialManifest
from coverage_audit.evidence.visible import visible
from coverage_audit.judgement.verdict import Answer, Finding, JudgedCopy, JudgedDataset, JudgedEstate, JudgedOriginal
from coverage_audit.judgement.wording import age, amount, files, when
from coverage_audit.reports.plain import Paper
from coverage_audit.reports.situation import Worry, by_weight, situation, span_since, worst_first

_STANDING_COLUMN: Final = 14


def audit_text(
    judged: JudgedEstate,
    *,
    width: int,
    colour: bool,
    since: Mapping[str, datetime],
    changes: Sequence[EstateChange] = (),
    number: int | None = None,
) -> str:
    """Write the audit, `width` columns wide, ending with a newline.

    `since`: when each open finding began; `changes`: what changed in the estate since the audit before; `number`:
    the audit's in its ledger.
    """
    paper, zone = Paper(width=width, colour=colour), ZoneInfo(judged.time_zone)
    lines = [
        *_opening(judged, paper, zone, since, number),
        *_changed(changes, paper),
        *_datasets(judged, paper, zone),
        *_findings(judged, paper, zone, since),
        *_gaps(judged, paper, zone),
    ]
    return "\n".join(lines) + "\n"


def _opening(
    judged: JudgedEstate, paper: Paper, zone: ZoneInfo, since: Mapping[str, datetime], number: int | None
) -> Iterator[str]:
    summed = situation(judged, since)
    first, *rest = paper.wrapped(summed.sentence)
    yield paper.styled(first, judged.conclusion)
    yield from rest
    took = format_duration(judged.finished - judged.started)
    which = "" if number is None else f" (audit no. {number})"
    done = f"{judged.estate}, audited at {when(judged.started, zone)} in {took}{which}"
    yield from paper.wrapped(f"{done}. {summed.basis}")
    if summed.worries:
        yield from paper.heading("What is not as it must be")
    for worry in summed.worries:
        yield from _worry(worry, judged, paper, zone)


def _changed(changes: Sequence[EstateChange], paper: Paper) -> Iterator[str]:
    if changes:
        yield ""
        yield from paper.wrapped(f"Since the last audit: {visible(in_one_line(changes))}.")


def _worry(worry: Worry, judged: JudgedEstate, paper: Paper, zone: ZoneInfo) -> Iterator[str]:
    span = span_since(worry.since, judged.started)
    begun = f"since {when(worry.since, zone)}, {format_duration(span)}" if worry.since and span else "since this audit"
    yield from paper.wrapped(f"{worry.dataset or 'The estate itself'}: {worry.conclusion}, {begun}.")
    yield from paper.wrapped(worry.finding.message, indent=2)
    if worry.stake:
        yield from paper.wrapped(f"At stake: {worry.stake}.", indent=2)
    yield from paper.wrapped(f"Do first: {worry.finding.mend}", indent=2)
    if worry.others:
        more = "1 more finding" if len(worry.others) == 1 else f"{len(worry.others)} more findings"
        yield from paper.wrapped(f"And {more}, below.", indent=2)


def _datasets(judged: JudgedEstate, paper: Paper, zone: ZoneInfo) -> Iterator[str]:
    if judged.datasets:
        yield from paper.heading("Datasets and their copies")
    for dataset in worst_first(judged.datasets):
        yield from _dataset(dataset, judged, paper, zone)


def _dataset(dataset: JudgedDataset, judged: JudgedEstate, paper: Paper, zone: ZoneInfo) -> Iterator[str]:
    waived = f", waived: {dataset.waived}" if dataset.waived else ""
    yield from paper.worded(
        dataset.conclusion, f"{dataset.id} ({dataset.policy}{waived})", indent=0, column=_STANDING_COLUMN + 2
    )
    yield from paper.worded(
        dataset.original.standing,
        _original(dataset.original, dataset.left_out, zone),
        indent=2,
        column=_STANDING_COLUMN + 2,
    )
    for copy in dataset.copies:
        yield from paper.worded(copy.standing, _copy(copy, judged, zone), indent=2, column=_STANDING_COLUMN + 2)


def _original(original: JudgedOriginal, left: Tally, zone: ZoneInfo) -> str:
    tree, place = original.evidence.tree, original.evidence.place.volume.key
    manifest = tree if isinstance(tree, CompleteManifest | PartialManifest) else original.evidence.as_of
    if manifest is None:
        return f"original on {place}: {original.reason}"
    held = f"{files(manifest.census.files)}, {format_size(manifest.census.bytes)}"
    seen = "" if manifest is tree else f" as of {when(manifest.origin.started, zone)}"
    return f"original {manifest.origin.address}: {held}{seen}{_left(left)}; {original.reason}"


def _left(left: Tally) -> str:
    """Say right where the size is said that not all of it is asked for."""
    return f", of which {amount(left)} are left out by patterns" if left.files else ""


def _copy(copy: JudgedCopy, judged: JudgedEstate, zone: ZoneInfo) -> str:
    if copy.recovery_point is None:
        back = "no recovery point proven"
    else:
        back = f"back to {when(copy.recovery_point, zone)}, {age(copy.recovery_point, judged.finished)}"
    trimmed = copy.recovery_point_trimmed
    if trimmed is not None and trimmed != copy.recovery_point:
        back += f" (to {when(trimmed, zone)} without the few files that stick out)"
    size = ", by size" if copy.by_size else ""
    said = f"{copy.address} ({copy.site}, {copy.medium}; {copy.proof.word}{size}): {back}; {copy.reason}"
    compared = copy.comparison
    if compared is not None and (compared.missing.files or compared.changed.files):
        said += f"; missing {amount(compared.missing)}, changed {amount(compared.changed)}"
        said += f", of these pending {amount(compared.pending)}" if compared.pending.files else ""
    said += f"; content: {copy.content}" if copy.content else ""
    said += f"; drill: {copy.drill}" if copy.drill else ""
    return "; ".join((said, *copy.remarks))


def _findings(judged: JudgedEstate, paper: Paper, zone: ZoneInfo, since: Mapping[str, datetime]) -> Iterator[str]:
    whole = tuple(finding for dataset in worst_first(judged.datasets) for finding in dataset.findings)
    told = [each for each in by_weight((*whole, *judged.findings)) if each.answer is not Answer.CONFORMITY]
    good = len(whole) + len(judged.findings) - len(told)
    yield from paper.heading("Findings")
    for finding in told:
        yield from _finding(finding, paper, zone, since)
    yield from paper.wrapped(f"{good} {'finding conforms' if good == 1 else 'findings conform'}.")
    if told:
        yield from paper.wrapped("The evidence behind one: coverage-audit explain FINDING, named in brackets.")


def _finding(finding: Finding, paper: Paper, zone: ZoneInfo, since: Mapping[str, datetime]) -> Iterator[str]:
    yield from paper.worded(finding.answer, finding.message, indent=0, column=_STANDING_COLUMN + 2)
    column = _STANDING_COLUMN + 2
    figures = f"Measured: {finding.measured}. Required: {finding.required}."
    begun = since.get(finding.id)
    yield from paper.wrapped(f"{figures} Since {when(begun, zone)}." if begun else figures, indent=column)
    if finding.mend:
        yield from paper.wrapped(f"To mend: {finding.mend}", indent=column)
    yield from paper.wrapped(f"[{finding.id}]", indent=column)


def _gaps(judged: JudgedEstate, paper: Paper, zone: ZoneInfo) -> Iterator[str]:
    if judged.gaps:
        yield from paper.heading("What could not be observed")
    for gap in judged.gaps:
        yield from paper.wrapped(f"{gap} at {when(gap.at, zone)}", hanging=2)

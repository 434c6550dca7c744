"""One finding explained: what was asked, what was found, on which evidence, and how to mend it."""

from __future__ import annotations

import inspect
from collections.abc import Iterator
from datetime import datetime
from zoneinfo import ZoneInfo

from coverage_audit.evidence.difference import CopyComparison, Sample, Tally
from coverage_audit.evidence.visible import visible
from coverage_audit.judgement.verdict import Acceptance, EvidenceItem, Finding
from coverage_audit.judgement.wording import age, amount, last_day, when
from coverage_audit.reports.plain import Paper


def explain_text(  # noqa: PLR0913 - what a finding is explained by
    finding: Finding,
    documentation: str,
    *,
    since: datetime | None,
    audited: datetime,
    zone: ZoneInfo,
    comparison: CopyComparison | None = None,
    width: int = 100,
    colour: bool = False,
) -> str:
    """Write the explanation, ending with a newline.

    `documentation` is the rule's own docstring; `since` when the finding began (None: with this audit or not
    open); `audited` the start of the audit that it is from; `comparison` the figures of its copy.
    """
    paper = Paper(width=width, colour=colour)
    lines = [
        *paper.worded(finding.answer, finding.message, indent=0, column=len(finding.answer) + 2),
        *paper.wrapped(f"[{finding.id}]"),
        *paper.wrapped(_dated(since, audited, zone)),
        *paper.heading("Measured against the policy"),
        *paper.wrapped(f"Measured: {finding.measured}"),
        *paper.wrapped(f"Required: {finding.required}"),
        *_evidence(finding, paper, zone),
        *_figures(comparison, paper, zone),
        *_acceptance(finding.acceptance, paper, zone),
        *_mend(finding, paper),
        *paper.heading("The rule"),
        *_paragraphs(documentation, paper),
        *(paper.wrapped(f"Control: {finding.control}") if finding.control else ()),
    ]
    return "\n".join(lines) + "\n"


def _dated(since: datetime | None, audited: datetime, zone: ZoneInfo) -> str:
    said = f"From the audit of {when(audited, zone)}."
    return f"{said} It began {age(since, audited)}, at {when(since, zone)}." if since and since < audited else said


def _evidence(finding: Finding, paper: Paper, zone: ZoneInfo) -> Iterator[str]:
    yield from paper.heading("Evidence")
    if not finding.evidence:
        yield "None was at hand: that is why nothing is taken for good."
    for number, item in enumerate(finding.evidence, 1):
        label = f"{number}. "
        yield from paper.wrapped(f"{label}{_item(item, zone)}", hanging=len(label))


def _item(item: EvidenceItem, zone: ZoneInfo) -> str:
    at = f", at {when(item.at, zone)}" if item.at else ""
    return f"{item.what}. Where: {item.where}. How: {item.how}{at}."


def _figures(comparison: CopyComparison | None, paper: Paper, zone: ZoneInfo) -> Iterator[str]:
    if comparison is None:
        return
    yield from paper.heading("The comparison behind it")
    yield from paper.wrapped(
        f"The original as listed at {when(comparison.original_at, zone)} against the copy as listed at "
        f"{when(comparison.copy_at, zone)}."
    )
    for name, tally in _tallies(comparison):
        yield from paper.wrapped(f"{name:<34}{amount(tally)}")
    if comparison.samples:
        yield "Some of the rows that differ:"
    for sample in comparison.samples:
        yield from paper.wrapped(_sample(sample), indent=2, hanging=4)


def _tallies(comparison: CopyComparison) -> Iterator[tuple[str, Tally]]:
    always = (
        ("in the original", comparison.original),
        ("held by the copy", comparison.same),
        ("missing from the copy", comparison.missing),
        ("changed", comparison.changed),
    )
    where_any = (
        ("of these: count against it", comparison.counting),
        ("of these: went back", comparison.went_back),
        ("of these: pending", comparison.pending),
        ("of these: an audit is missing", comparison.between),
        ("of these: changed on their own", comparison.own),
        ("of these: content differs", comparison.content),
        ("of these: content unverified", comparison.unhashed),
        ("of these: below a blind place", comparison.unknown),
        ("there under an old name", comparison.under_old_name),
        ("in the copy alone", comparison.extra),
        ("left out by patterns", comparison.left_out),
    )
    yield from always
    yield from ((name, tally) for name, tally in where_any if tally.files)


def _sample(sample: Sample) -> str:
    return f"{visible(sample.path)} ({sample.row_class}, {sample.verdict}, {amount(Tally(files=1, bytes=sample.size))})"


def _acceptance(acceptance: Acceptance | None, paper: Paper, zone: ZoneInfo) -> Iterator[str]:
    if acceptance is None:
        return
    yield from paper.heading("The waiver")
    yield from paper.wrapped(f"Who: {visible(acceptance.who)}, at {when(acceptance.given, zone)}.")
    yield from paper.wrapped(f"Why: {visible(acceptance.why)}")
    yield from paper.wrapped(
        f"Until: the end of {last_day(acceptance.until, zone)}, or until it gets worse. "
        f"Without it the answer would be: {acceptance.answer}."
    )


def _mend(finding: Finding, paper: Paper) -> Iterator[str]:
    if finding.mend:
        yield from paper.heading("How to mend it")
        yield from paper.wrapped(finding.mend)


def _paragraphs(documentation: str, paper: Paper) -> Iterator[str]:
    for number, paragraph in enumerate(inspect.cleandoc(documentation).split("\n\n")):
        if number:
            yield ""
        yield from paper.wrapped(" ".join(paragraph.split()))

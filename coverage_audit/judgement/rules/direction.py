"""Direction: work is done where the original is declared, and its copies follow.

What it asks: that what changed since the last audit appeared in the original first. It observes a copy in which nearly
all of it was earlier than in the original. Where files were written in the copy itself that the original does not have,
and more of them than in the original, the answer is unverified: what is declared as the original is not shown to be it.

Why: after a failover, or a job that was set up the wrong way round, the copy is where people work. The audit then
holds the copy to a standard that is itself behind, and what is new lies in one place alone while all looks covered.

How to mend: turn the job round, or declare the place where the work is done as the original and the other as its copy.

The control: NIST SP 800-53 Rev. 5 CP-9 (system backup of the right source) and CM-8.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import Final

from coverage_audit.evidence.direction import Direction
from coverage_audit.evidence.visible import visible
from coverage_audit.judgement.context import DatasetContext
from coverage_audit.judgement.rule import Rule, supports
from coverage_audit.judgement.subjects import place_subject
from coverage_audit.judgement.verdict import Answer, EvidenceItem, Finding, JudgedCopy
from coverage_audit.judgement.wording import files, when

RULE = Rule(
    id="direction",
    title="Where the work is done",
    control=supports("NIST SP 800-53 Rev. 5 CP-9 and CM-8"),
    doc=__doc__ or "",
)

_FEW: Final = 5
"""Fewer files than these say nothing (no published source)."""

_NEARLY_ALL: Final = 9
"""So many files that were in the copy first to each one that was not (no published source)."""


def check(context: DatasetContext) -> Iterable[Finding]:
    """Say of each copy that leads its original that it does."""
    for copy in context.copies:
        found = copy.comparison.direction if copy.comparison is not None else None
        if found is None:
            continue
        if found.made_in_copy >= _FEW and found.made_in_copy > found.made_in_original:
            example = f"e.g. “{visible(found.example)}”"
            what = f"{files(found.made_in_copy)} were written in the copy, {example}, and are not in the original"
            yield _finding(context, copy, found, Answer.UNVERIFIED, what)
        elif found.copy_first >= _FEW and found.copy_first >= _NEARLY_ALL * found.original_first:
            what = f"{files(found.copy_first)} were in the copy before they were in the original"
            yield _finding(context, copy, found, Answer.OBSERVATION, what)


def _finding(context: DatasetContext, copy: JudgedCopy, found: Direction, answer: Answer, what: str) -> Finding:
    original = context.dataset.original
    figures = (
        f"first in the original {found.original_first}, first in the copy {found.copy_first}; "
        f"written in the original {found.made_in_original}, in the copy alone {found.made_in_copy}"
    )
    return Finding(
        rule=RULE.id,
        subject=place_subject(context.dataset.id, copy.address),
        answer=answer,
        measured=figures,
        required="what is new appears in the original first",
        message=f"{copy.address} looks as if it is where the work is done: since {when(found.since, context.zone)} "
        f"{what}. {original} is declared as the original.",
        mend="Turn the job round, or declare the place where the work is done as the original.",
        evidence=(
            EvidenceItem(
                what=figures,
                where=str(copy.address),
                at=copy.evidence.tree_at,
                how="the ctimes of files that changed since then, on both sides",
            ),
        ),
        control=RULE.control,
    )

"""Lineage: a copy that is made of another copy is said to be, and one that only looks like it is named.

What it asks: of a copy with `taken_from` that nothing is known against the copy it is made of: while that one is
damaged, or was not compared, what it handed on is not proven, unless digests show it. Of copies without, that no two of
them have the same damage or lack the very same files for as long: that looks as if one was made of the other.

Why: two copies of which one is made of the other hold the same mistakes. A file that went bad in the first goes bad in
the second with the next run, with its right size and time, and counts twice.

How to mend: mend the first copy, then the second; or let each copy be made of the original. If one is made of the other
on purpose, declare it: `taken_from`.

The control: NIST SP 800-53 Rev. 5 CP-9 and CP-6(1) (separation).
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import Final

from coverage_audit.evidence.kinship import Resemblance
from coverage_audit.evidence.visible import visible
from coverage_audit.judgement.context import DatasetContext
from coverage_audit.judgement.descent import chain, sources_of, trouble_of
from coverage_audit.judgement.observing import of_copy
from coverage_audit.judgement.rule import Rule, supports
from coverage_audit.judgement.subjects import place_subject
from coverage_audit.judgement.verdict import Answer, EvidenceItem, Finding, JudgedCopy

RULE = Rule(
    id="lineage",
    title="What copies are made of",
    control=supports("NIST SP 800-53 Rev. 5 CP-9 and CP-6(1)"),
    doc=__doc__ or "",
)

_FEW: Final = 3
"""So many files must be lacking in two copies alike: one or two may be so by chance (no published source)."""


def check(context: DatasetContext) -> Iterable[Finding]:
    """Answer for each copy that is made of another, and observe those that look as if they were."""
    for copy in context.copies:
        if copy.evidence.copy.taken_from is not None:
            yield _declared(context, copy)
    for pair in context.case.resembling:
        if pair.alike.damaged or (
            pair.alike.lacking >= _FEW and not min(pair.alike.first_only, pair.alike.second_only)
        ):
            yield _looks_like_it(context, pair)


def _declared(context: DatasetContext, copy: JudgedCopy) -> Finding:
    declared = [each.evidence.copy for each in context.copies]
    way = chain(copy.evidence.copy, declared, context.dataset.original)
    named = {each.address: each for each in context.copies}
    sources = sources_of(copy.evidence.copy, declared)
    trouble = next((said for each in sources if (said := trouble_of(each, named.get(each)))), None)
    return Finding(
        rule=RULE.id,
        subject=place_subject(context.dataset.id, copy.address),
        answer=context.own_answer(Answer.UNVERIFIED) if trouble else Answer.CONFORMITY,
        measured=way,
        required="nothing known against what it is made of",
        message=f"{copy.address}: {trouble or 'nothing is known against what it is made of'} ({way}).",
        mend="Mend the copy that it is made of, then this one; or make it of the original." if trouble else "",
        evidence=tuple(_declared_so(way)) + tuple(i for each in sources if each in named for i in of_copy(named[each])),
        control=RULE.control,
    )


def _declared_so(way: str) -> Iterator[EvidenceItem]:
    yield EvidenceItem(what=f"declared: {way}", where="the estate file", at=None, how="read from the estate file")


def _looks_like_it(context: DatasetContext, pair: Resemblance) -> Finding:
    alike = pair.alike
    parts = [(alike.damaged, "differ from the original's in the same way"), (alike.lacking, "are lacking")]
    what = " and ".join(f"{count} {words}" for count, words in parts if count)
    said = f"in {pair.first} and {pair.second} the same files {what}, e.g. “{visible(alike.example)}”"
    return Finding(
        rule=RULE.id,
        subject=place_subject(context.dataset.id, pair.second),
        answer=Answer.OBSERVATION,
        measured=what,
        required="no two copies with the same mistakes",
        message=f"{said}: it looks as if one was made of the other, or one cause keeps both from them.",
        mend="Make each copy of the original, or declare `taken_from`; mend what both lack.",
        evidence=(
            EvidenceItem(
                what=said,
                where=str(pair.second),
                at=context.finished,
                how=f"held together; {alike.first_only} and {alike.second_only} count against one of them alone",
            ),
        ),
        control=RULE.control,
    )

"""Leaving out: what patterns leave out of a dataset stays what its owner meant.

What it asks: that no pattern suddenly leaves out much more than it did within the last thirty days, nor all that
is new, nor more than half of the dataset, and that each pattern that the owner wrote matches something.

Why: what is left out is asked of no copy. A pattern that is misspelt leaves out nothing; one that is too wide, or
whose name somebody began to use for work, leaves out what ought to be kept, and nothing else would ever say so.

How to mend: look at what the pattern matches, and narrow it, spell it right, or take names back in with `!`.

The control: NIST SP 800-53 Rev. 5 CP-9 (the scope of what is backed up).
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from datetime import timedelta
from typing import Final

from coverage_audit.evidence.difference import CopyComparison, Tally
from coverage_audit.evidence.visible import visible
from coverage_audit.judgement.case import LeftOut
from coverage_audit.judgement.context import DatasetContext
from coverage_audit.judgement.observing import of_copy
from coverage_audit.judgement.rule import Rule, supports
from coverage_audit.judgement.subjects import dataset_subject, place_subject
from coverage_audit.judgement.verdict import Answer, Finding, JudgedCopy
from coverage_audit.judgement.wording import amount, files, when

RULE = Rule(
    id="leaving-out",
    title="What patterns leave out",
    control=supports("NIST SP 800-53 Rev. 5 CP-9"),
    doc=__doc__ or "",
)

REMEMBERED: Final = timedelta(days=30)
"""So long a pattern is held against the least that it left out: a slow growth is seen, and seen for a month."""

MUCH: Final = 0.01
"""Less than this part of a dataset is not worth a word, however it grew."""

_MEND: Final = "Look at what the pattern matches: narrow it, spell it right, or take names back in with `!`."


def check(context: DatasetContext) -> Iterable[Finding]:
    """Hold what was left out against the size of the dataset and against what it was.

    The dataset's own patterns are answered for once, those of a copy together with them at that copy.
    """
    for subject, copy, found in _compared(context):
        said = tuple(_said(copy, found, context))
        left = f"{amount(found.left_out)} of {amount(_whole(found))} left out"
        yield Finding(
            rule=RULE.id,
            subject=subject,
            answer=Answer.OBSERVATION if said else Answer.CONFORMITY,
            measured=left,
            required="each pattern matches something, and leaves out no more than it did",
            message=f"{context.dataset.id}: {'; '.join(said) or left}.",
            mend=_MEND if said else "",
            evidence=of_copy(copy),
            control=RULE.control,
        )


def _compared(context: DatasetContext) -> Iterator[tuple[str, JudgedCopy, CopyComparison]]:
    of_the_dataset = False
    for copy in context.copies:
        found = copy.comparison
        if found is None or not found.left_out_by:
            continue
        if copy.evidence.copy.leave_out:
            yield place_subject(context.dataset.id, copy.address), copy, found
        elif not of_the_dataset:
            of_the_dataset = True
            yield dataset_subject(context.dataset.id), copy, found


def _said(copy: JudgedCopy, found: CopyComparison, context: DatasetContext) -> Iterator[str]:
    before = copy.evidence.left_out_before
    if _exceeds(found.left_out, _whole(found), 0.5):
        yield f"more than half is left out ({amount(found.left_out)} of {amount(_whole(found))})"
    recent = [one for one in before if timedelta(0) <= context.started - one.at <= REMEMBERED]
    if recent:
        yield from _all_that_is_new(recent[-1], found, context)
    for pattern, now in found.left_out_by:
        yield from _grown(pattern, now, recent, found, context)
        if not now.files and not found.blind_original:
            yield _matches_nothing(pattern, before, context)


def _all_that_is_new(then: LeftOut, found: CopyComparison, context: DatasetContext) -> Iterator[str]:
    """Say that the dataset grew, and that nothing of it which is kept did."""
    new = _whole(found).files - then.whole.files
    left = found.left_out.files - sum(tally.files for _, tally in then.by)
    if new > MUCH * _whole(found).files and left >= new:
        yield f"all {files(new)} by which it grew since {when(then.at, context.zone)} are left out"


def _grown(
    pattern: str, now: Tally, recent: Sequence[LeftOut], found: CopyComparison, context: DatasetContext
) -> Iterator[str]:
    if not recent or not _exceeds(now, _whole(found), MUCH):
        return
    least = min(recent, key=lambda one: (_of(one, pattern).files, _of(one, pattern).bytes, one.at))
    lightest = min(recent, key=lambda one: (_of(one, pattern).bytes, one.at))
    for then in dict.fromkeys((least, lightest)):
        was = _of(then, pattern)
        if now.files > 2 * was.files or now.bytes > 2 * was.bytes:
            yield (
                f"“{visible(pattern)}” leaves out {amount(now)}, at {when(then.at, context.zone)} it "
                f"left out {amount(was) if was.files else 'nothing'}"
            )
            return


def _matches_nothing(pattern: str, before: Sequence[LeftOut], context: DatasetContext) -> str:
    last = next((one for one in before if _of(one, pattern).files), None)
    if last is None:
        return f"“{visible(pattern)}” matches nothing, and never did as far as is known (is it misspelt?)"
    then = f"{when(last.at, context.zone)} ({amount(_of(last, pattern))})"
    return f"“{visible(pattern)}” matches nothing; it last did at {then}"


def _of(one: LeftOut, pattern: str) -> Tally:
    return sum((tally for name, tally in one.by if name == pattern), Tally())


def _whole(found: CopyComparison) -> Tally:
    return found.original + found.left_out


def _exceeds(part: Tally, whole: Tally, share: float) -> bool:
    return part.files > share * whole.files or part.bytes > share * whole.bytes

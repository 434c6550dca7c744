"""Within reach: a copy that the original's own machine can write to, as its mount table shows.

What it asks: nothing that could be broken by itself. It observes each copy whose volume, or the folder it lies in, is
mounted read-write on the device where the original is worked on; and a snapshot that was changed after an earlier audit
had listed it. Such a copy counts neither as offline nor as immutable.

What it cannot see: what is mounted on demand while it is not, and what a desktop's file manager has mounted by itself.

Why: what encrypts or empties the original does so to all that is mounted beside it. A snapshot that was made writable
and read-only again looks like any other, and may hold anything.

How to mend: unmount it, mount it read-only, or let the copy's machine fetch the data instead. Find out who made a
snapshot writable, and do not restore from it before you know.

The control: NIST SP 800-53 Rev. 5 CP-9 d (protection of backup information).
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from coverage_audit.evidence.facts import PointList
from coverage_audit.evidence.visible import visible
from coverage_audit.judgement.case import CopyEvidence
from coverage_audit.judgement.context import DatasetContext
from coverage_audit.judgement.counting import ORIGINAL
from coverage_audit.judgement.reach import Reach
from coverage_audit.judgement.rule import Rule, supports
from coverage_audit.judgement.subjects import place_subject
from coverage_audit.judgement.verdict import Answer, EvidenceItem, Finding, JudgedCopy
from coverage_audit.judgement.wording import joined

RULE = Rule(
    id="within-reach",
    title="Copies within reach",
    control=supports("NIST SP 800-53 Rev. 5 CP-9 d"),
    doc=__doc__ or "",
)


def check(context: DatasetContext) -> Iterable[Finding]:
    """Observe what can be written from where the original is worked on, and what was written to though sealed."""
    for number, copy in enumerate(context.copies, start=ORIGINAL + 1):
        said = [*_reached(context, number), *_changed(copy.evidence)]
        if said:
            yield _finding(context, copy, said)


def _finding(context: DatasetContext, copy: JudgedCopy, said: list[str]) -> Finding:
    return Finding(
        rule=RULE.id,
        subject=place_subject(context.dataset.id, copy.address),
        answer=Answer.OBSERVATION,
        measured="within reach, or changed",
        required="out of reach of the original's device, and never changed",
        message=f"{copy.address}: {'; '.join(said)}.",
        mend="Unmount it there or mount it read-only; find out who changed a snapshot before you restore from it.",
        evidence=tuple(
            EvidenceItem(
                what=what, where=str(copy.address), at=copy.evidence.place.device_facts.at, how="shown by the boxes"
            )
            for what in said
        ),
        control=RULE.control,
    )


def _reached(context: DatasetContext, number: int) -> Iterator[str]:
    reached = context.holdings.places[number].reached
    if reached.reach is Reach.SHOWN:
        device = context.dataset.original.volume.device
        yield f"{reached.why}: what changes the original on {device} can change this copy, too"


def _changed(evidence: CopyEvidence) -> Iterator[str]:
    points, past = evidence.points, evidence.past
    if not isinstance(points, PointList) or past is None:
        return
    later = [point.name for point in points.points if point.identity in past.rewritten]
    if later:
        what = "was changed after it was first listed, or is itself the source of snapshots"
        yield f"{joined(f'“{visible(name)}”' for name in later)} {what}"
    were = {one.name for one in past.left}
    for name, why in points.refused:
        if name in were and "writable" in why:
            yield f"“{visible(name)}” was a recovery point before, and is none now: {why}"

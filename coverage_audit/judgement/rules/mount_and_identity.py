"""Mount and identity: what lies at each declared path is the volume that was pinned there.

What it asks: that nothing which the volume showed when it was first seen (filesystem UUID, type, mount source and
target, drive serials, machine id, host key) has vanished or changed, and that a path does not lie on the box's
root filesystem unless that is declared. Of a copy's volume it observes besides that it is mounted read-only or full.

Why: a disk that is not mounted leaves an empty folder, or an older tree, where the copy should be; files written
there land on the system disk. An original that is not mounted is an empty folder that anything "covers". To a volume
that takes nothing more, a job may report success and bring nothing.

How to mend: mount the volume. If it was replaced on purpose, look at what differs and accept the new identity; if the
path lies on the root filesystem on purpose, declare `on_root: true`.

The control: NIST SP 800-53 Rev. 5 CM-8 (component inventory) and CP-9 d (integrity of backup information).
"""

from __future__ import annotations

from collections.abc import Iterable

from coverage_audit.estate.access import ShelfAccess
from coverage_audit.estate.model import Address
from coverage_audit.evidence.difference import Tally
from coverage_audit.evidence.facts import Gap, GapKind
from coverage_audit.judgement.case import PlaceEvidence
from coverage_audit.judgement.context import DatasetContext
from coverage_audit.judgement.observing import of_identity
from coverage_audit.judgement.room import takes_nothing_more
from coverage_audit.judgement.rule import Rule, supports
from coverage_audit.judgement.shelf import how_to_record
from coverage_audit.judgement.subjects import place_subject
from coverage_audit.judgement.verdict import Answer, Finding

RULE = Rule(
    id="mount-and-identity",
    title="Mount and identity",
    control=supports("NIST SP 800-53 Rev. 5 CM-8 and CP-9 d"),
    doc=__doc__ or "",
)

_REACH = "Mend what stood in the way of seeing the volume, then audit again."
_MAKE_ROOM = "Make room on the volume, or mount it writable; see whether the job that fills it says that it fails."


def check(context: DatasetContext) -> Iterable[Finding]:
    """Say of the original's volume and of each copy's whether it is the one pinned."""
    original = context.case.original.place
    yield _finding(context, context.dataset.original, original, context.originals_answer(_answer(original)))
    for copy in context.copies:
        place = copy.evidence.place
        answer = context.own_answer(_answer(place))
        full = takes_nothing_more(place, copy.comparison.missing if copy.comparison else Tally())
        if full and answer is Answer.CONFORMITY:
            yield _finding(context, copy.address, place, Answer.OBSERVATION, full)
        else:
            yield _finding(context, copy.address, place, answer)


def _answer(place: PlaceEvidence) -> Answer:
    trusted = not isinstance(place.identity, Gap) and place.identity.trusted
    return Answer.CONFORMITY if trusted else Answer.UNVERIFIED


def _finding(
    context: DatasetContext, address: Address, place: PlaceEvidence, answer: Answer, full: str | None = None
) -> Finding:
    said = "; ".join(filter(None, (_said(place), full)))
    return Finding(
        rule=RULE.id,
        subject=place_subject(context.dataset.id, address),
        answer=answer,
        measured=said,
        required="the volume that is pinned",
        message=f"The volume {place.volume.key} under {address}: {said}.",
        mend=_MAKE_ROOM if full else _mend(place, address),
        evidence=of_identity(place),
        control=RULE.control,
    )


def _mend(place: PlaceEvidence, address: Address) -> str:
    if not isinstance(place.identity, Gap):
        accept = f"`coverage-audit preflight --accept {place.volume.key}` if it was replaced"
        if isinstance(place.device.access, ShelfAccess):
            return f"Plug in the drive that is meant; `{how_to_record(address)} --accept` if it was replaced."
        return f"Mount the volume; {accept}; `on_root: true` if it belongs there."
    if place.identity.kind is GapKind.SHELF:
        return f"Plug the drive in, then `{how_to_record(address)}`, and audit again."
    return _REACH


def _said(place: PlaceEvidence) -> str:
    check = place.identity
    if isinstance(check, Gap):
        return f"not seen, {check.kind}" + (f" ({check.detail})" if check.detail else "")
    return "; ".join([str(check.state), *check.differences, *check.newly_shown])

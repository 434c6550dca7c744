"""Shelf drives: a drive that belongs on the shelf was found plugged in.

What it asks: nothing that could be broken. It observes each known shelf drive that hangs on a box: that it was recorded
by this audit and may be unplugged, since when it hangs there, and that it counts as its host's once it stays for
longer than `limits.attached_grace`. Two drives of one filesystem UUID at once are said, and neither is evidence.

Why: a drive that stays plugged in is lost with the box it hangs on, to a surge, a thief or an intruder; and who
plugged it in wants to know when it may go back.

How to mend: unplug it and bring it back to its place. Of two clones give one a filesystem UUID of its own, and declare
it as a device of its own.

The control: NIST SP 800-53 Rev. 5 CP-9 d and CP-9(7) (protection of backup information).
"""

from __future__ import annotations

from collections.abc import Iterable

from coverage_audit.evidence.shelf import DriveSeen
from coverage_audit.judgement.context import EstateContext
from coverage_audit.judgement.rule import Rule, supports
from coverage_audit.judgement.shelf import said_when
from coverage_audit.judgement.subjects import volume_subject
from coverage_audit.judgement.verdict import Answer, EvidenceItem, Finding
from coverage_audit.judgement.wording import duration, joined

RULE = Rule(
    id="shelf-drives",
    title="Shelf drives that are plugged in",
    control=supports("NIST SP 800-53 Rev. 5 CP-9 d and CP-9(7)"),
    doc=__doc__ or "",
)


def check(context: EstateContext) -> Iterable[Finding]:
    """Observe each shelf drive that this audit found plugged in."""
    for drive in context.drives:
        measured, message = _twins(drive) if drive.twins else _attached(drive, context)
        yield Finding(
            rule=RULE.id,
            subject=volume_subject(drive.volume),
            answer=Answer.OBSERVATION,
            measured=measured,
            required="on the shelf",
            message=message,
            mend=_mend(drive),
            evidence=(
                EvidenceItem(
                    what=message,
                    where=str(drive.volume),
                    at=context.finished,
                    how="found by its filesystem UUID among what the boxes have mounted",
                ),
            ),
            control=RULE.control,
        )


def _attached(drive: DriveSeen, context: EstateContext) -> tuple[str, str]:
    seen = drive.attached
    if seen is None:
        return "attached", f"{drive.volume} was seen attached."
    name, host = drive.volume.device, seen.host
    if drive.not_recorded:
        what = f"{name} was seen attached to {host} and was not recorded: {'; '.join(drive.not_recorded)}."
    else:
        what = f"{name} was seen attached to {host} and recorded; you may unplug it."
    if seen.since >= context.started:
        return f"attached to {host}", what
    since = f"attached to {host} since {said_when(seen.since, context.estate)}"
    stays = f"It has been {since} and was there at every audit."
    if seen.last - seen.since > context.estate.limits.attached_grace and not context.estate.rehearsal:
        grace = duration(context.estate.limits.attached_grace)
        stays += f" That is longer than {grace}: until it is unplugged it counts as at {host}'s site and not offline."
    return since, f"{what} {stays}"


def _twins(drive: DriveSeen) -> tuple[str, str]:
    many, where = f"{len(drive.twins)} drives of one filesystem UUID", joined(drive.twins)
    return many, f"{many}, that of {drive.volume}, are attached at once ({where}): neither counts as evidence."


def _mend(drive: DriveSeen) -> str:
    if drive.twins:
        return "Give the clone a filesystem UUID of its own, and declare it as a device of its own."
    return "Unplug it and bring it back to its place."

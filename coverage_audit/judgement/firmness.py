"""Whether what a copy holds can be changed from where its original is worked on: shown not to, open, or it can.

Shown is what a filesystem or an absence shows: a recovery point that is a read-only snapshot on another machine, a
volume of another machine that is mounted read-only there, a drive that is on the shelf, a volume that is off. What is
only declared stays open, however good the word: an owner who has tried it can accept the finding for a while.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from enum import IntEnum
from typing import Final

from coverage_audit.estate.access import ShelfAccess
from coverage_audit.estate.model import Estate, Medium
from coverage_audit.estate.sources import BtrfsPoints, ZfsPoints
from coverage_audit.evidence.facts import DeviceFacts, MountedFilesystem, PointList, RecoveryPoint, VolumeFacts
from coverage_audit.evidence.visible import visible
from coverage_audit.judgement.case import CopyEvidence, PlaceEvidence
from coverage_audit.judgement.reach import Reach, Reached
from coverage_audit.judgement.serving import lies_elsewhere
from coverage_audit.judgement.shelf import attached_in_words, stays_attached


class Firm(IntEnum):
    """How surely a copy cannot be changed from where its original is worked on."""

    NOT = 0  # it shows itself to be changeable
    OPEN = 1
    SHOWN = 2


@dataclass(frozen=True, kw_only=True)
class Firmness:
    """How firm a copy is, and why. `away`: because nothing can reach it at all."""

    firm: Firm
    why: str = ""
    away: bool = False


CHANGEABLE: Final = Firmness(firm=Firm.NOT, why="nothing says that it cannot be changed")


def firmness_of(
    evidence: CopyEvidence, estate: Estate, *, reached: Reached, attached: bool, started: datetime
) -> Firmness:
    """Return how firm one copy is. `attached`: it was seen on a box in this audit, which began at `started`.

    That it is apart from its original is another matter: what lies on the original's own machine is never firm.
    """
    found = _absent(evidence, estate, reached=reached, attached=attached)
    if found is not None:
        return found
    point = _sealed(evidence)
    if point is not None:
        what = f"its recovery point “{visible(point.name)}” is a read-only snapshot"
        if reached.reach is Reach.NOT:
            return Firmness(firm=Firm.SHOWN, why=what)
        return Firmness(firm=Firm.OPEN, why=f"{what}; whether it can be deleted is open: {reached.why}")
    if reached.reach is Reach.SHOWN:
        return Firmness(firm=Firm.NOT, why=reached.why)
    return _read_only(evidence.place, started) or _declared(evidence)


def _absent(evidence: CopyEvidence, estate: Estate, *, reached: Reached, attached: bool) -> Firmness | None:
    """Say that nothing reaches a copy, or that what should be out of reach is not (None: neither)."""
    volume, hanging = evidence.place.volume, stays_attached(evidence.place, estate)
    if hanging is not None:
        return Firmness(firm=Firm.NOT, why=attached_in_words(hanging, estate))
    away = volume.offline and not attached and reached.reach is Reach.NOT
    on_the_shelf = isinstance(evidence.place.device.access, ShelfAccess)
    for holds, why in (
        (estate.rehearsal and (volume.immutable or volume.offline), "a rehearsal: taken as declared"),
        (on_the_shelf, "it is a drive on the shelf"),
        (away, "it is offline, and was not attached in this audit"),
    ):
        if holds:
            return Firmness(firm=Firm.SHOWN, why=why, away=True)
    return None


def _sealed(evidence: CopyEvidence) -> RecoveryPoint | None:
    """Return the judged point where its filesystem shows that it is read-only and was never changed."""
    points, point = evidence.points, evidence.point
    if point is None and evidence.comparison is None and isinstance(points, PointList) and points.points:
        point = max(points.points, key=lambda each: (each.earliest, each.latest))
    if point is None or not point.sealed:
        return None
    past = evidence.past
    if point.generation is not None and (past is None or point.identity in past.rewritten):
        return None
    return point


def _read_only(place: PlaceEvidence, started: datetime) -> Firmness | None:
    """Say what a read-only mount shows (None: it is no such mount, or its bytes lie on yet another machine)."""
    seen = place.volume_facts
    if not isinstance(seen, VolumeFacts) or not seen.read_only or lies_elsewhere(seen):
        return None
    other = _writable_elsewhere(place, seen)
    if not other and seen.at >= started:
        return Firmness(firm=Firm.SHOWN, why=f"{place.volume.key} is mounted read-only")
    return Firmness(firm=Firm.OPEN, why=other or f"{place.volume.key} was read-only when it was last seen")


def _writable_elsewhere(place: PlaceEvidence, seen: VolumeFacts) -> str:
    """Say where its own box has the same filesystem mounted read-write, or that it was not seen (empty: nowhere)."""
    box = place.device_facts
    if not isinstance(box, DeviceFacts) or box.filesystems_unseen:
        return f"what else {place.device.id} has mounted was not seen"
    for mount in box.filesystems:
        if not mount.read_only and _is_one(mount, seen):
            return f"{place.volume.key} is mounted read-only, and read-write at {visible(mount.target)}"
    return ""


def _is_one(mount: MountedFilesystem, seen: VolumeFacts) -> bool:
    """Whether a mount is of the volume's own filesystem; of one filesystem subvolumes have numbers of their own."""
    return any(
        one is not None and one == other
        for one, other in (
            (mount.device_number, seen.device_number),
            (mount.uuid, seen.filesystem_uuid),
            (mount.source, seen.mount_source),
        )
    )


def _declared(evidence: CopyEvidence) -> Firmness:
    """Say what is only declared, and what is not even that."""
    volume, seen = evidence.place.volume, evidence.place.volume_facts
    writable = isinstance(seen, VolumeFacts) and seen.read_only is False
    how = " and shows itself mounted read-write" if writable else ", and shows nothing that bears it out"
    snapshots = isinstance(evidence.copy.points, BtrfsPoints | ZfsPoints)
    for holds, why in (
        (volume.immutable, f"{volume.key} is declared immutable{how}"),
        (volume.medium is Medium.OPTICAL, f"{volume.key} is declared optical{how}"),
        (volume.offline, f"{volume.key} is declared offline, and that was not shown"),
        (snapshots, "that its recovery point is read-only and was never changed is not shown"),
        (not writable, f"whether {volume.key} can be written is not shown"),
    ):
        if holds:
            return Firmness(firm=Firm.OPEN, why=why)
    return Firmness(firm=Firm.NOT, why=f"{volume.key} is mounted read-write")

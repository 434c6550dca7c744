"""Known shelf drives that hang on a box in the night of an audit: each is recorded by itself, and judged fresh.

A drive is known by the filesystem UUID that was pinned when it was first recorded. Two that bear one UUID at the same
time are clones: which of them was recorded before nobody can tell, so neither is evidence.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime

from coverage_audit.audits.parts import Parts
from coverage_audit.audits.plugging import as_carried, lies_on, question_at, trees_recorded
from coverage_audit.estate.access import ShelfAccess
from coverage_audit.estate.model import Dataset, Device, DeviceId, Estate, Volume, VolumeKey
from coverage_audit.evidence.collected import Answer, Question
from coverage_audit.evidence.facts import DeviceFacts, Gap, GapKind, MountedFilesystem
from coverage_audit.evidence.shelf import Attached, DriveSeen, ShelfTree
from coverage_audit.ledger.record import SeenManifest

SEEN_ATTACHED = "seen attached in an audit"


@dataclass(frozen=True, kw_only=True)
class Drives:
    """What an audit saw of shelf drives.

    `answers` are theirs, without what is their hosts'. `attached` are those plugged in now, and those that were when
    their host last answered; `detached` were, and are not any more. `twins` are refused, each with the reason.
    """

    answers: tuple[Answer, ...] = ()
    attached: tuple[Attached, ...] = ()
    detached: tuple[VolumeKey, ...] = ()
    twins: Mapping[VolumeKey, Gap]
    where: Mapping[VolumeKey, tuple[str, ...]]


@dataclass(frozen=True, kw_only=True)
class Hanging:
    """One drive found on one box; `path` is where it is mounted."""

    host: Device
    machine: str
    number: str
    path: str

    def __str__(self) -> str:
        """Say where it hangs."""
        return f"{self.host.id} at {self.path}"


def look_for_drives(estate: Estate, datasets: Sequence[Dataset], answers: Sequence[Answer], parts: Parts) -> Drives:
    """Find every known shelf drive among what the boxes have mounted, and ask it what it holds."""
    now = parts.clock()
    known = {one.volume: one for one in parts.ledger.attachments()}
    hanging: dict[tuple[Device, Device], dict[Volume, str]] = defaultdict(dict)
    attached, detached = list[Attached](), list[VolumeKey]()
    twins, where = dict[VolumeKey, Gap](), dict[VolumeKey, tuple[str, ...]]()
    for shelf, volume in _shelf_volumes(estate):
        before = known.get(volume.key)
        found = found_on(uuid_of(shelf, volume, parts), answers)
        if not found:
            if before is not None:
                _still_there(before, answers, attached, detached)
            continue
        where[volume.key] = tuple(map(str, found))
        if len(found) > 1:
            twins[volume.key] = _twins(volume, found, now)
        else:
            hanging[shelf, found[0].host][volume] = found[0].path
        attached.append(_attached(volume.key, found[0].host.id, before, now))
    questions = [_question(estate, datasets, *pair, volumes) for pair, volumes in hanging.items()]
    told = parts.gather([question for question in questions if question.trees or question.pointed])
    return Drives(
        answers=_by_device(map(as_carried, told)),
        attached=tuple(attached),
        detached=tuple(detached),
        twins=twins,
        where=where,
    )


def recorded_of(drives: Drives, seen: Iterable[SeenManifest]) -> tuple[ShelfTree, ...]:
    """Return the trees of shelf drives among what an audit saw on trusted volumes."""
    trusted = [(one.address, one.manifest) for one in seen if one.trusted]
    hosts = {one.volume: one.host for one in drives.attached}
    trees: list[ShelfTree] = []
    for answer in drives.answers:
        for volume in answer.device.volumes:
            own = [pair for pair in trusted if pair[0].volume == volume.key]
            trees += trees_recorded(answer, own, host=hosts[volume.key], how=SEEN_ATTACHED)
    return tuple(trees)


def said_of(drives: Drives, recorded: Sequence[ShelfTree], gaps: Sequence[Gap]) -> tuple[DriveSeen, ...]:
    """Return what is to be said of each drive that was seen."""
    said = []
    attached = {one.volume: one for one in drives.attached}
    for volume, where in drives.where.items():
        if volume in drives.twins:
            said.append(DriveSeen(volume=volume, twins=where))
            continue
        why = [str(gap) for gap in gaps if gap.subject == str(volume) or gap.subject.startswith(f"{volume}/")]
        if not why and not any(tree.address.volume == volume for tree in recorded):
            why = ["no dataset of this audit lies on it, or it is not the drive that is pinned"]
        said.append(DriveSeen(volume=volume, attached=attached[volume], not_recorded=tuple(why)))
    return tuple(said)


def _shelf_volumes(estate: Estate) -> Iterable[tuple[Device, Volume]]:
    for device in estate.devices:
        if isinstance(device.access, ShelfAccess):
            for volume in device.volumes:
                yield device, volume


def uuid_of(shelf: Device, volume: Volume, parts: Parts) -> str | None:
    """Return the filesystem UUID by which a shelf volume is known (None: it is not)."""
    if volume.identity is not None and volume.identity.filesystem_uuid:
        return volume.identity.filesystem_uuid
    pins = parts.ledger.pins(volume.key, shelf.formerly) or ()
    return next((fact.value for fact in pins if fact.name == "filesystem_uuid"), None)


def found_on(uuid: str | None, answers: Sequence[Answer]) -> list[Hanging]:
    """Return each drive that bears this UUID, once for each machine and block device."""
    if uuid is None:
        return []
    seen: dict[tuple[str, str], Hanging] = {}
    for answer in answers:
        facts = answer.facts
        if isinstance(facts, Gap) or isinstance(answer.device.access, ShelfAccess):
            continue
        for mounted in sorted(facts.filesystems, key=_whole_first):
            if mounted.uuid == uuid and not mounted.is_network:
                one = Hanging(
                    host=answer.device,
                    machine=facts.boot_id or str(answer.device.id),
                    number=mounted.device_number or mounted.source,
                    path=mounted.target,
                )
                seen.setdefault((one.machine, one.number), one)
    return list(seen.values())


def _whole_first(mounted: MountedFilesystem) -> tuple[bool, int, str]:
    """Order mounts of one drive: the whole filesystem before a part of it, then the shortest path."""
    return mounted.fs_root not in {None, "/"}, len(mounted.target), mounted.target


def _still_there(
    before: Attached, answers: Sequence[Answer], attached: list[Attached], detached: list[VolumeKey]
) -> None:
    """Tell whether a drive was unplugged: only where its host showed all that it has mounted, and it was not there."""
    asked = [answer.facts for answer in answers if answer.device.id == before.host]
    looked = any(isinstance(facts, DeviceFacts) and facts.filesystems for facts in asked)
    if looked:
        detached.append(before.volume)
    else:
        attached.append(before)


def _attached(volume: VolumeKey, host: DeviceId, before: Attached | None, now: datetime) -> Attached:
    return Attached(volume=volume, host=host, since=before.since if before else now, last=now)


def _twins(volume: Volume, found: Sequence[Hanging], now: datetime) -> Gap:
    places = " and ".join(map(str, found))
    detail = f"{len(found)} drives with its filesystem UUID are attached at once ({places}): which is it cannot be told"
    return Gap(subject=str(volume.key), kind=GapKind.ANOTHER_VOLUME, detail=detail, at=now)


def _question(
    estate: Estate, datasets: Sequence[Dataset], shelf: Device, host: Device, volumes: Mapping[Volume, str]
) -> Question:
    declared = [lies_on(volume, datasets) for volume in volumes]
    trees = [address for plain, _ in declared for address in plain]
    dated = [copy for _, pointed in declared for copy in pointed]
    return question_at(estate, shelf, host.access, volumes, trees, dated)


def _by_device(answers: Iterable[Answer]) -> tuple[Answer, ...]:
    """Join the answers of one device whose volumes hang on several boxes."""
    joined: dict[DeviceId, Answer] = {}
    for answer in answers:
        first = joined.get(answer.device.id)
        joined[answer.device.id] = answer if first is None else _joined(first, answer)
    return tuple(joined.values())


def _joined(first: Answer, second: Answer) -> Answer:
    return replace(
        first,
        device=replace(first.device, volumes=(*first.device.volumes, *second.device.volumes)),
        facts=second.facts if isinstance(first.facts, Gap) else first.facts,
        volumes=(*first.volumes, *second.volumes),
        trees=(*first.trees, *second.trees),
        points=(*first.points, *second.points),
    )

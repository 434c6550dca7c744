"""The look of a retirement: every device is asked, every volume walked whole, and what is mounted inside of them."""

from __future__ import annotations

import os
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace

from coverage_audit.audits.attached import Drives, look_for_drives
from coverage_audit.audits.identifying import identify
from coverage_audit.audits.parts import Parts
from coverage_audit.audits.planning import plan_audit
from coverage_audit.audits.sighting import Sighting, sight
from coverage_audit.estate.access import LocalAccess, ShelfAccess
from coverage_audit.estate.model import Address, Device, Estate, VolumeKey
from coverage_audit.evidence.collected import Answer, Question, SeenTree
from coverage_audit.evidence.facts import DeviceFacts, Gap, GapKind, IdentityCheck, VolumeFacts
from coverage_audit.evidence.manifest import Manifest, PartialManifest
from coverage_audit.scenarios.leaving import Leaving, leaving_with
from coverage_audit.scenarios.staying import Machines, Stay, Stays, stay_of

_DEEPEST = 4
"""So many filesystems one inside the other are looked into; what is deeper is named as not looked at."""
_ANOTHER = "another filesystem"
"""Begins the reason of every border in a listing."""


@dataclass(frozen=True, kw_only=True)
class Looked:
    """What was seen: `wholes` are the volumes walked whole, `inner` what is mounted inside of those that leave.

    `elsewhere` is what is mounted there and is no part of them. `leaving` holds also what was shown to go with what was
    asked for. `stays` answers for every other volume, `reached` is how each volume's device is asked now.
    """

    answers: tuple[Answer, ...]
    drives: Drives
    identities: Mapping[VolumeKey, IdentityCheck | Gap]
    sighting: Sighting
    leaving: Leaving
    stays: Mapping[VolumeKey, Stay]
    wholes: Mapping[VolumeKey, Manifest | Gap]
    inner: tuple[SeenTree, ...]
    elsewhere: Mapping[VolumeKey, frozenset[str]]
    reached: Mapping[VolumeKey, Device]


def look_at_all(estate: Estate, leaving: Leaving, named: Iterable[Address], parts: Parts) -> Looked:
    """Ask every device, walk every volume, and what of the ones that leave is another filesystem inside of them.

    Raises as an audit does.
    """
    plan = plan_audit(estate, ())
    also = tuple(named)
    questions = tuple(_whole(question, also) for question in plan.questions)
    answers = parts.gather(questions)
    drives = look_for_drives(estate, estate.datasets, answers, parts)
    on_shelf = parts.gather([_of_drive(answer) for answer in drives.answers]) if drives.answers else ()
    answers = (*answers, *drives.answers)
    identities = {**identify(estate, answers, parts.ledger), **drives.twins}
    sighting = sight(_really(answers), identities, parts.clock(), drives.attached)
    wholes = _wholes(estate, (*answers, *on_shelf), identities, sighting)
    reached = {volume.key: answer.device for answer in (*answers, *on_shelf) for volume in answer.device.volumes}
    leaving, stays = who_stays(estate, leaving, sighting)
    elsewhere = _not_part_of(estate, leaving, sighting)
    inner = _inside(leaving, wholes, reached, elsewhere, parts)
    return Looked(
        answers=answers,
        drives=drives,
        identities=identities,
        sighting=sighting,
        leaving=leaving,
        stays=stays,
        wholes=wholes,
        inner=inner,
        elsewhere=elsewhere,
        reached=reached,
    )


def walk_again(looked: Looked, parts: Parts) -> Mapping[Address, Manifest | Gap]:
    """Walk once more what leaves: every volume whole, and what is mounted inside."""
    questions = []
    for device in {
        looked.reached[key].id: looked.reached[key] for key in looked.leaving.volumes if key in looked.reached
    }.values():
        volumes = tuple(volume for volume in device.volumes if volume.key in looked.leaving.volumes)
        inner = tuple(tree.address for tree in looked.inner if tree.address.volume.device == device.id)
        whole = tuple(Address(volume=volume.key, path="") for volume in volumes)
        questions.append(Question(device=device, volumes=volumes, trees=(*whole, *inner)))
    return {tree.address: tree.outcome for answer in parts.gather(questions) for tree in answer.trees}


def who_stays(estate: Estate, leaving: Leaving, sighting: Sighting) -> tuple[Leaving, Mapping[VolumeKey, Stay]]:
    """Return all that leaves, with what is shown to go with it, and the answer of every other volume."""
    machines: Machines = {key: facts for key, facts in sighting.devices.items() if isinstance(facts, DeviceFacts)}
    places = {
        volume.key: sighting.place(estate, Address(volume=volume.key, path=""))
        for device in estate.devices
        for volume in device.volumes
    }
    while True:
        leavers = [place for key, place in places.items() if key in leaving.volumes]
        stays = {
            key: stay_of(place, leaving, leavers, estate, machines)
            for key, place in places.items()
            if key not in leaving.volumes
        }
        gone = {key: stay for key, stay in stays.items() if stay.stays is Stays.GOES}
        if not gone:
            return leaving, stays
        more = leaving_with(estate, leaving.devices, leaving.volumes | gone.keys())
        leaving = replace(
            more, falls=tuple(dict.fromkeys((*leaving.falls, *(s.why for s in gone.values()), *more.falls)))
        )


def border_of(why: str) -> bool:
    """Whether a blind place is the root of another filesystem, by what its listing says."""
    return why.startswith(_ANOTHER)


def _whole(question: Question, named: Sequence[Address]) -> Question:
    own = tuple(address for address in named if address.volume.device == question.device.id)
    return replace(
        question,
        trees=tuple(dict.fromkeys((*question.trees, *own))),
        surveyed=tuple(Address(volume=volume.key, path="") for volume in question.volumes),
    )


def _of_drive(answer: Answer) -> Question:
    """Ask once more for a shelf drive that is plugged in: its volumes whole."""
    volumes = answer.device.volumes
    return Question(
        device=answer.device,
        volumes=volumes,
        trees=(),
        surveyed=tuple(Address(volume=volume.key, path="") for volume in volumes),
    )


def _really(answers: Iterable[Answer]) -> tuple[Answer, ...]:
    """Say of volumes on this machine where they really lie: a link can lead from one volume's folder to another's."""
    return tuple(
        replace(answer, volumes=tuple(map(_real, answer.volumes)))
        if isinstance(answer.device.access, LocalAccess)
        else answer
        for answer in answers
    )


def _real(facts: VolumeFacts | Gap) -> VolumeFacts | Gap:
    return facts if isinstance(facts, Gap) else replace(facts, path=os.path.realpath(facts.path))


def _wholes(
    estate: Estate, answers: Iterable[Answer], identities: Mapping[VolumeKey, IdentityCheck | Gap], sighting: Sighting
) -> dict[VolumeKey, Manifest | Gap]:
    """Return every volume's whole listing where the volume is the one that is pinned, else why there is none."""
    found: dict[VolumeKey, Manifest | Gap] = {}
    for answer in answers:
        for tree in (*answer.surveyed, *answer.trees):
            key = tree.address.volume
            if not tree.address.path and isinstance(found.get(key), Gap | None):
                found[key] = _doubt(identities.get(key), key, sighting) or tree.outcome
    for device in estate.devices:
        for volume in device.volumes:
            if volume.key not in found:
                found[volume.key] = sighting.tree(estate, Address(volume=volume.key, path=""))
    return found


def _doubt(check: IdentityCheck | Gap | None, key: VolumeKey, sighting: Sighting) -> Gap | None:
    if isinstance(check, Gap):
        return check
    if check is not None and check.trusted:
        return None
    why = "; ".join(check.differences) if check else "the volume was not shown"
    return Gap(subject=str(key), kind=GapKind.ANOTHER_VOLUME, detail=why, at=sighting.at)


def _inside(
    leaving: Leaving,
    wholes: Mapping[VolumeKey, Manifest | Gap],
    reached: Mapping[VolumeKey, Device],
    elsewhere: Mapping[VolumeKey, frozenset[str]],
    parts: Parts,
) -> tuple[SeenTree, ...]:
    """Walk the filesystems that are mounted, or are subvolumes, inside the volumes that leave."""
    found: list[SeenTree] = []
    listed: list[tuple[Address, Manifest]] = [
        (Address(volume=key, path=""), whole)
        for key, whole in sorted(wholes.items())
        if key in leaving.volumes and not isinstance(whole, Gap) and not isinstance(reached[key].access, ShelfAccess)
    ]
    for _ in range(_DEEPEST):
        wanted = [border for address, manifest in listed for border in _borders(address, manifest, elsewhere)]
        if not wanted:
            break
        questions = [
            Question(
                device=device,
                volumes=tuple(v for v in device.volumes if any(one.volume == v.key for one in wanted)),
                trees=tuple(one for one in wanted if one.volume.device == device.id),
            )
            for device in {reached[one.volume].id: reached[one.volume] for one in wanted}.values()
        ]
        seen = [tree for answer in parts.gather(questions) for tree in answer.trees]
        found += seen
        listed = [(tree.address, tree.outcome) for tree in seen if not isinstance(tree.outcome, Gap)]
    return tuple(found)


def _borders(address: Address, manifest: Manifest, elsewhere: Mapping[VolumeKey, frozenset[str]]) -> Iterable[Address]:
    for place in manifest.blind if isinstance(manifest, PartialManifest) else ():
        path = "/".join(part for part in (address.path, os.fsdecode(place.path)) if part)
        if place.path and border_of(place.why) and path not in elsewhere.get(address.volume, ()):
            yield Address(volume=address.volume, path=path)


def _not_part_of(estate: Estate, leaving: Leaving, sighting: Sighting) -> Mapping[VolumeKey, frozenset[str]]:
    """Return, below each volume that leaves, what is mounted there and is no part of it: volumes and shares."""
    found = {}
    for key in leaving.volumes:
        device, own = estate.device(key.device), estate.volume(key).path.rstrip("/") + "/"
        facts = sighting.devices.get(key.device)
        shares = [one.target for one in facts.filesystems if one.is_network] if isinstance(facts, DeviceFacts) else []
        paths = (*(volume.path for volume in device.volumes), *shares)
        found[key] = frozenset(path.removeprefix(own) for path in paths if path.startswith(own))
    return found

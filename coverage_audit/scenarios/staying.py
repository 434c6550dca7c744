"""Whether a place stays when something leaves: shown to stay, shown to go with it, or not shown to be either.

Less is asked than of an independent copy: two volumes of one box, or a host and its guest, may be told apart here when
only one of them leaves. One filesystem, one drive, one machine under two names, a mount that the leaving box serves
and one folder under two names go together, whatever is declared.
"""

from __future__ import annotations

import posixpath
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from enum import StrEnum

from coverage_audit.estate.access import ShelfAccess
from coverage_audit.estate.model import DeviceId, Estate
from coverage_audit.evidence.facts import DeviceFacts, VolumeFacts
from coverage_audit.judgement.case import PlaceEvidence
from coverage_audit.judgement.filesystems import filesystems_not_shown_apart, filesystems_shown_one
from coverage_audit.judgement.hosting import declared_to_stand_on, stands_on
from coverage_audit.judgement.machines import not_shown_apart, shown_one
from coverage_audit.judgement.mounting import mounts_from_elsewhere
from coverage_audit.scenarios.leaving import Leaving

Machines = Mapping[DeviceId, DeviceFacts]


class Stays(StrEnum):
    """Whether a place is left when something leaves."""

    STAYS = "stays"
    GOES = "goes with it"
    NOT_SHOWN = "not shown to stay"


@dataclass(frozen=True, kw_only=True)
class Stay:
    """A place's answer, and why (empty where it stays)."""

    stays: Stays
    why: str = ""


def stay_of(
    place: PlaceEvidence, leaving: Leaving, leavers: Iterable[PlaceEvidence], estate: Estate, machines: Machines
) -> Stay:
    """Return whether a place stays. `leavers` is what was seen of the places that leave."""
    if place.volume.key in leaving.volumes:
        return Stay(stays=Stays.GOES, why="it leaves itself")
    hanging = place.attached
    if hanging is not None and hanging.host in leaving.devices:
        return Stay(stays=Stays.NOT_SHOWN, why=f"it is plugged into {hanging.host}, which leaves: plug it in elsewhere")
    for device, why in stands_on(place, estate, machines).items():
        if device in leaving.devices:
            return Stay(stays=Stays.GOES, why=why)
    doubts: list[str] = []
    for other in leavers:
        one = _goes_with(place, other, leaving, estate, machines)
        if one:
            return Stay(stays=Stays.GOES, why=one[0])
        doubts += _doubts(place, other, leaving, estate)
    return Stay(stays=Stays.NOT_SHOWN, why=doubts[0]) if doubts else Stay(stays=Stays.STAYS)


def _goes_with(
    place: PlaceEvidence, other: PlaceEvidence, leaving: Leaving, estate: Estate, machines: Machines
) -> list[str]:
    nested = _one_folder(place, other)
    if nested:
        return [nested]
    if estate.rehearsal:
        return []
    found = filesystems_shown_one(place, other)
    if other.device.id in leaving.devices and not _is_host_of(place, other, estate):
        mine, its = machines.get(place.device.id), machines.get(other.device.id)
        only_mounts = mounts_from_elsewhere(place) or mounts_from_elsewhere(other)
        same = shown_one(mine, its) if mine is not None and its is not None and not only_mounts else None
        found += [same] if same else []
    return found


def _doubts(place: PlaceEvidence, other: PlaceEvidence, leaving: Leaving, estate: Estate) -> list[str]:
    if estate.rehearsal or _attested(place, other):
        return []
    doubts = filesystems_not_shown_apart(place, other)
    if other.device.id not in leaving.devices or _is_host_of(place, other, estate):
        return doubts
    if any(isinstance(one.device.access, ShelfAccess) for one in (place, other)):
        return doubts
    boxes = [facts for facts in (place.device_facts, other.device_facts) if isinstance(facts, DeviceFacts)]
    if len(boxes) < 2:
        return [*doubts, f"{place.device.id} or {other.device.id} shows nothing of itself"]
    if boxes[0].is_guest and place.device.runs_on is None:
        doubts.append(f"{place.device.id} shows itself to be a guest, and no `runs_on` says of whom")
    return doubts + not_shown_apart(boxes[0], boxes[1])


def _is_host_of(place: PlaceEvidence, guest: PlaceEvidence, estate: Estate) -> bool:
    """Whether the device that leaves is a guest on this place's device: that one machine carries both is no news."""
    return place.device.id in declared_to_stand_on(guest.volume.key, estate)


def _attested(a: PlaceEvidence, b: PlaceEvidence) -> bool:
    return any(
        attested.other == other.device.id for one, other in ((a, b), (b, a)) for attested in one.device.attested_apart
    )


def _one_folder(a: PlaceEvidence, b: PlaceEvidence) -> str | None:
    """Say that one volume's folder is the other's, or lies in it, by their paths or by where they lie on one disk."""
    first, second = a.volume_facts, b.volume_facts
    if not (isinstance(first, VolumeFacts) and isinstance(second, VolumeFacts) and _one_kernel(a, b)):
        return None
    places = [(_on_disk(first), _on_disk(second))] if _one_disk(first, second) else []
    if places or a.device.id == b.device.id:
        places.append((first.path, second.path))
    if any(_nested(one, other) or _nested(other, one) for one, other in places):
        return f"{first.volume} and {second.volume} are one folder, or one lies in the other ({first.path})"
    return None


def _one_kernel(a: PlaceEvidence, b: PlaceEvidence) -> bool:
    facts = [place.device_facts for place in (a, b)]
    boots = [one.boot_id if isinstance(one, DeviceFacts) else None for one in facts]
    return a.device.id == b.device.id or (boots[0] is not None and boots[0] == boots[1])


def _one_disk(first: VolumeFacts, second: VolumeFacts) -> bool:
    return first.device_number is not None and first.device_number == second.device_number


def _on_disk(seen: VolumeFacts) -> str:
    if seen.fs_root is None or seen.mount_target is None:
        return seen.path
    inner = posixpath.relpath(seen.path, seen.mount_target) if _nested(seen.mount_target, seen.path) else "."
    return posixpath.normpath(posixpath.join(seen.fs_root, inner))


def _nested(outer: str, inner: str) -> bool:
    return inner == outer or inner.startswith(outer.rstrip("/") + "/")

"""Whether the device on which an original is worked on can write to a copy: it mounts the copy's volume read-write.

Told by the mount table of the original's device. A network mount leads to the copy where its source names the copy's
device and a folder that holds the copy, or lies in it. Any other (a share's name, the root of an export, a server that
is known by another name) may lead there, unless its size is another than the copy's volume shows.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass
from enum import IntEnum
from typing import Final

from coverage_audit.estate.access import ShelfAccess
from coverage_audit.estate.model import POINT, Address
from coverage_audit.evidence.facts import DeviceFacts, MountedFilesystem, VolumeFacts
from coverage_audit.evidence.visible import visible
from coverage_audit.judgement.case import PlaceEvidence
from coverage_audit.judgement.serving import is_served_by, server_named_by

_EXPORTED: Final = re.compile(r"(?:[^:/\[\]]*@)?(?:\[[^\]]+\]|[^:/]+):(/.*)")


class Reach(IntEnum):
    """How surely the original's device can write to a copy."""

    NOT = 0  # no mount leads there
    PERHAPS = 1  # one may, or the mounts were not seen
    SHOWN = 2


@dataclass(frozen=True, kw_only=True)
class Reached:
    """Whether a copy is within reach, and by what (empty: it is not)."""

    reach: Reach
    why: str = ""


OUT_OF_REACH: Final = Reached(reach=Reach.NOT)


def reach_of(worked_on: PlaceEvidence, copy: PlaceEvidence, address: Address) -> Reached:
    """Return whether the device of an original, of which `worked_on` is known, can write to a copy at `address`."""
    if isinstance(copy.device.access, ShelfAccess) or copy.device.id == worked_on.device.id:
        return OUT_OF_REACH  # by network it cannot be; on the device itself it is no copy to be counted
    box = worked_on.device_facts
    if not isinstance(box, DeviceFacts) or box.filesystems_unseen:
        return Reached(reach=Reach.PERHAPS, why=f"what {worked_on.device.id} has mounted was not seen")
    found = list(_leading_there(worked_on, box, copy, address))
    return max(found, key=lambda each: each.reach, default=OUT_OF_REACH)


def _leading_there(
    worked_on: PlaceEvidence, box: DeviceFacts, copy: PlaceEvidence, address: Address
) -> Iterator[Reached]:
    for mount in box.filesystems:
        if not mount.is_network or mount.read_only:
            continue
        reach = _reach(mount, copy, address)
        if reach is not Reach.NOT:
            what = f"{visible(mount.source)} read-write at {visible(mount.target)}"
            may = "" if reach is Reach.SHOWN else f", which may be {copy.volume.key}"
            yield Reached(reach=reach, why=f"{worked_on.device.id} has mounted {what}{may}")


def _reach(mount: MountedFilesystem, copy: PlaceEvidence, address: Address) -> Reach:
    server = server_named_by(mount.source, mount.filesystem_type)
    facts = copy.device_facts if isinstance(copy.device_facts, DeviceFacts) else None
    shared, volume = _exported(mount), _path(copy)
    if server is not None and is_served_by(server, copy.device, facts) and shared is not None and volume is not None:
        tree = (*volume, *_parts(address.path.partition(POINT)[0]))
        if _within(tree, shared) or _within(shared, tree):
            return Reach.SHOWN
        if _within(shared, volume):
            return Reach.NOT  # another folder of the very volume
    return Reach.NOT if _other_size(mount, copy) else Reach.PERHAPS


def _other_size(mount: MountedFilesystem, copy: PlaceEvidence) -> bool:
    """Whether both show how large they are, and that is not the same."""
    known = copy.volume_facts.capacity if isinstance(copy.volume_facts, VolumeFacts) else None
    return known is not None and mount.capacity is not None and known != mount.capacity


def _exported(mount: MountedFilesystem) -> tuple[str, ...] | None:
    found = _EXPORTED.fullmatch(mount.source)
    return _parts(found[1]) if found else None


def _path(copy: PlaceEvidence) -> tuple[str, ...] | None:
    path = copy.volume_facts.path if isinstance(copy.volume_facts, VolumeFacts) else copy.volume.path
    return _parts(path) if path else None


def _parts(path: str) -> tuple[str, ...]:
    return tuple(part for part in path.split("/") if part not in {"", "."})


def _within(inner: tuple[str, ...], outer: tuple[str, ...]) -> bool:
    return inner[: len(outer)] == outer

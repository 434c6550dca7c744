"""Which of a device's mounted filesystems no volume declares, as far as the mount table and UUIDs tell."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping
from typing import Final

from coverage_audit.estate.model import Device, VolumeKey
from coverage_audit.evidence.facts import MountedFilesystem, VolumeFacts
from coverage_audit.evidence.surveyed import UndeclaredFilesystem

_SYSTEM: Final = ("/boot", "/efi", "/usr", "/nix", "/snap")


def is_system(target: str) -> bool:
    """Whether a filesystem mounted here holds the box's own system (Filesystem Hierarchy Standard 3.0, chapter 3)."""
    return target == "/" or any(target == one or target.startswith(f"{one}/") for one in _SYSTEM)


def undeclared_filesystems(
    device: Device,
    mounted: Iterable[MountedFilesystem],
    volumes: Mapping[VolumeKey, VolumeFacts],
    known_uuids: Collection[str],
) -> tuple[UndeclaredFilesystem, ...]:
    """Return what no volume declares, the fullest first; one filesystem counts once, however often it is mounted.

    `known_uuids` are filesystems that are declared elsewhere: drives of the shelf that are plugged in here.
    """
    groups: dict[str, list[MountedFilesystem]] = {}
    for number, seen in enumerate(mounted):
        groups.setdefault(seen.uuid or seen.device_number or str(number), []).append(seen)
    found = []
    for mounts in groups.values():
        on_it = [facts for facts in volumes.values() if any(_lies_on(facts, seen) for seen in mounts)]
        if any(facts.path == seen.target for facts in on_it for seen in mounts):
            continue
        if not on_it and any(seen.uuid in known_uuids for seen in mounts):
            continue
        first = min(mounts, key=lambda seen: (seen.fs_root not in {"/", None}, len(seen.target)))
        partly = tuple(sorted(facts.volume for facts in on_it))
        found.append(UndeclaredFilesystem(device=device.id, filesystem=first, partly=partly))
    return tuple(sorted(found, key=lambda one: (-(one.used or 0), one.filesystem.target)))


def _lies_on(facts: VolumeFacts, seen: MountedFilesystem) -> bool:
    if facts.filesystem_uuid and seen.uuid:
        return facts.filesystem_uuid == seen.uuid
    if seen.target in {facts.path, facts.mount_target}:
        return True
    return facts.device_number is not None and facts.device_number == seen.device_number

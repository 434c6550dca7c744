"""What a volume shows of itself: its mount, its filesystem, its drives and its room.

The path is entered first (a mount made on demand is made by that), then the kernel is asked which mount the
opened folder lies on. All of it works without privileges; a device that may be read is asked for its UUID itself.
"""

from __future__ import annotations

import os
import re
from datetime import datetime
from typing import Final

from coverage_audit.collectors.framing import fields, pairs, shown
from coverage_audit.collectors.mounts import Mount, bound_upon_itself, holder, mount_table
from coverage_audit.collectors.physical import physical_drives
from coverage_audit.collectors.requests import Request
from coverage_audit.collectors.transport import TransportError
from coverage_audit.estate.model import VolumeKey
from coverage_audit.evidence.facts import GapKind, VolumeFacts
from coverage_audit.evidence.visible import visible

_ABSENT: Final = (b": No such file or directory", b": Not a directory")
_UNMOUNTED: Final = (b": Stale file handle", b": Transport endpoint is not connected", b": No such device")
_DF: Final = re.compile(r"\s(\d+)\s+(\d+)\s+(\d+)\s+(?:\d+%|-)\s")
# The device itself first, then what its service recorded of it: a record may be older than the device.
_UUID_SOURCES: Final = ("uuid_btrfs", "uuid_probe", "uuid_udev", "uuid_link", "uuid_lsblk")


def request(path: str, nonce: str) -> Request:
    """Return the request for the facts of the volume at `path` (absolute)."""
    return Request(verb="volume", arguments=(os.fsencode(path),), nonce=nonce)


def entered(reply: bytes, exit_status: int | None, *, nonce: str, path: str) -> bytes:
    """Return where the folder at `path` lies without links. Raises TransportError as `parse` does."""
    said = dict(pairs(fields(reply, exit_status, nonce)))
    _refuse(said, path)
    return said["here"]


def parse(
    reply: bytes, exit_status: int | None, *, nonce: str, volume: VolumeKey, path: str, at: datetime
) -> VolumeFacts:
    """Read the answer. Raises TransportError: `missing`, `unreadable` or `not mounted` for the path itself."""
    told = tuple(pairs(fields(reply, exit_status, nonce)))
    said = dict(told)
    _refuse(said, path)
    mount = _mount(said)
    if mount is not None and mount.filesystem_type == "autofs":
        raise TransportError(GapKind.NOT_MOUNTED, f"{path}: to be mounted on demand, and it was not")
    space = _space(said)
    below = physical_drives(told)
    return VolumeFacts(
        volume=volume,
        at=at,
        path=path,
        filesystem_type=mount.filesystem_type if mount else None,
        filesystem_uuid=next(filter(None, (shown(said.get(name)) for name in _UUID_SOURCES)), None),
        mount_source=shown(mount.source) if mount else None,
        mount_target=shown(mount.target) if mount else None,
        fs_root=shown(mount.fs_root) if mount else None,
        device_number=_device_number(said.get("number")),
        drives=below.drives,
        backing_file=below.backing_file,
        on_root=_on_root(said),
        read_only=mount.read_only if mount else None,
        rotational=below.rotational,
        **space,
    )


def _refuse(said: dict[str, bytes], path: str) -> None:
    if "refused" in said:
        why = said["refused"].strip()
        kind = GapKind.UNREADABLE
        if why.endswith(_ABSENT):
            kind = GapKind.MISSING
        elif why.endswith(_UNMOUNTED):
            kind = GapKind.NOT_MOUNTED
        raise TransportError(kind, f"{path}: {visible(why.rpartition(b': ')[2]) or 'it cannot be entered'}")
    if not said.get("here"):
        raise TransportError(GapKind.MALFORMED, f"{path}: the answer does not say where it was given")


def _mount(said: dict[str, bytes]) -> Mount | None:
    """Return the mount on which the path lies: the same in a sandbox that binds it upon itself, and outside."""
    number = shown(said.get("mount_id")) or ""
    table = mount_table(said.get("mountinfo", b""))
    mount = holder(table, said["here"], int(number) if number.isdecimal() else None)
    while mount is not None and (around := bound_upon_itself(mount, table)) is not None:
        mount = around
    return mount


def _on_root(said: dict[str, bytes]) -> bool | None:
    """Whether the path lies on the same mount or filesystem as `/`: apart only where both were shown to differ."""
    same = [
        said[here] == said[root]
        for here, root in (("mount_id", "root_mount_id"), ("number", "root_number"))
        if said.get(here) and said.get(root)
    ]
    if any(same):
        return True
    return False if len(same) == 2 else None


def _device_number(number: bytes | None) -> str | None:
    text = shown(number) or ""
    return f"{os.major(int(text))}:{os.minor(int(text))}" if text.isdecimal() else None


def _space(said: dict[str, bytes]) -> dict[str, int | None]:
    """Capacity and room for an unprivileged account, in bytes; a zero total means that there is no such figure."""
    columns = (shown(said.get("space")) or "").split()
    if len(columns) == 5 and all(column.isdecimal() for column in columns):
        block, blocks, free, inodes, inodes_free = map(int, columns)
        return {
            "capacity": block * blocks or None,
            "free": block * free if blocks else None,
            "inodes": inodes or None,
            "inodes_free": inodes_free if inodes else None,
        }
    found = _DF.search(shown(said.get("df")) or "")
    total, _, free = map(int, found.groups()) if found else (0, 0, 0)
    return {"capacity": total * 1024 or None, "free": free * 1024 if total else None}

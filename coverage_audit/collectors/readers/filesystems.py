"""Every filesystem that is mounted on a box and can hold data: where, of which kind, how large, how much is free.

The mount table is the kernel's (proc_pid_mountinfo(5)); a box without it is asked for `mount -p`, which prints the
table in the form of fstab(5), else for plain `mount` (FreeBSD mount(8), OpenBSD mount(8): from documentation). A
server that does not answer must not cost the others: what lies on a network is asked for its room under a time limit,
and not at all where the box has no `timeout`.
"""

from __future__ import annotations

import os
import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from typing import Final

from coverage_audit.collectors.filesystem_kinds import can_hold_data, is_network
from coverage_audit.collectors.framing import fields, pairs, shown
from coverage_audit.collectors.mounts import Mount, bound_upon_itself, mount_table, unescaped
from coverage_audit.collectors.requests import Request
from coverage_audit.evidence.facts import MountedFilesystem

_DF: Final = re.compile(rb"^.*?\s+(\d+)\s+(\d+)\s+(-?\d+)\s+(?:\d+%|-)\s+(/.*)$")
_PLAIN: Final = re.compile(rb"^(.*?) on (/.*?) (?:type (\S+) \(|\(([^,)\s]+))")
_UUID_SOURCES: Final = ("uuid_btrfs", "uuid_probe", "uuid_udev", "uuid_link", "lsblk")


def request(nonce: str) -> Request:
    """Return the request for the mounted filesystems."""
    return Request(verb="filesystems", nonce=nonce)


def parse(reply: bytes, exit_status: int | None, *, nonce: str) -> tuple[MountedFilesystem, ...]:
    """Read the answer, in the order of the box's own mount table.

    Raises TransportError where the answer is cut, malformed or was never given.
    """
    told = _Told()
    for name, value in pairs(fields(reply, exit_status, nonce)):
        told.take(name, value)
    mounts = told.mounts()
    latest = {mount.target: mount for mount in mounts}  # a later mount of the same target lies over the earlier one
    found = (_filesystem(mount, told) for mount in mounts if latest[mount.target] is mount)
    return tuple(each for each in found if can_hold_data(each.filesystem_type, each.target))


@dataclass
class _Told:
    """What the box said, by name: values of one name by what they are about."""

    single: dict[str, bytes] = field(default_factory=dict)
    about: dict[tuple[str, bytes], bytes] = field(default_factory=dict)

    def take(self, name: str, value: bytes) -> None:
        """Take one pair."""
        if name in {"mountinfo", "fstab", "mount"}:
            self.single[name] = value
        elif name == "lsblk":
            lines = (line.split(b" ") for line in value.split(b"\n"))
            self.about.update({(name, line[0]): line[1] for line in lines if len(line) == 2 and line[1]})
        elif name == "dfs":
            rows = filter(None, map(_DF.match, value.split(b"\n")))
            self.about.update({("dfs", row[4]): row[0] for row in rows})
        else:
            subject, _, said = value.rpartition(b"\n")
            if said.strip():
                self.about[name, subject] = said

    def mounts(self) -> tuple[Mount, ...]:
        """Return the mount table, whichever the box has, without folders that are bound upon themselves."""
        if "mountinfo" in self.single:
            table = mount_table(self.single["mountinfo"])
            return tuple(mount for mount in table if bound_upon_itself(mount, table) is None)
        if "fstab" in self.single:
            return tuple(_of_fstab(self.single["fstab"]))
        return tuple(_of_plain(self.single.get("mount", b"")))


def _filesystem(mount: Mount, told: _Told) -> MountedFilesystem:
    source, target = os.fsdecode(mount.source), os.fsdecode(mount.target)
    capacity, free = _room(mount, told.about)
    return MountedFilesystem(
        source=source,
        target=target,
        filesystem_type=mount.filesystem_type,
        uuid=_uuid(mount, told.about),
        capacity=capacity,
        free=free,
        fs_root=os.fsdecode(mount.fs_root) or None,
        device_number=mount.device_number or None,
        is_network=is_network(mount.filesystem_type, source),
        read_only=mount.read_only,
    )


def _room(mount: Mount, about: Mapping[tuple[str, bytes], bytes]) -> tuple[int | None, int | None]:
    """Capacity and what is free for an unprivileged account, in bytes; a zero total means that there is no figure."""
    columns = about.get(("space", b"%d" % mount.mount_id), b"").split()
    if len(columns) == 3 and all(column.isdigit() for column in columns):
        block, blocks, free = map(int, columns)
        return (block * blocks, block * free) if blocks else (None, None)
    row = _DF.match(about.get(("df", b"%d" % mount.mount_id), b"") or about.get(("dfs", mount.target), b""))
    total, free = (int(row[1]), max(0, int(row[3]))) if row else (0, 0)
    return (total * 1024, free * 1024) if total else (None, None)


def _uuid(mount: Mount, about: Mapping[tuple[str, bytes], bytes]) -> str | None:
    number = mount.device_number.encode("ascii", "replace")
    keys = (about.get(("node", number), b""), number)
    shown_by = (shown(about.get((name, key))) for name in _UUID_SOURCES for key in keys if key)
    return next(filter(None, shown_by), None)


def _of_fstab(text: bytes) -> Iterator[Mount]:
    """Read `mount -p`: fstab(5), with blanks in names written as octal escapes."""
    for line in text.split(b"\n"):
        columns = line.split()
        if len(columns) >= 4 and columns[1].startswith(b"/"):
            yield _bare(unescaped(columns[0]), unescaped(columns[1]), columns[2], read_only=columns[3])


def _of_plain(text: bytes) -> Iterator[Mount]:
    """Read plain `mount`: "SOURCE on TARGET type KIND (...)" or "SOURCE on TARGET (KIND, ...)"."""
    for line in text.split(b"\n"):
        row = _PLAIN.match(line)
        if row:
            yield _bare(row[1], row[2], row[3] or row[4], read_only=line.rpartition(b"(")[2].rstrip(b")"))


def _bare(source: bytes, target: bytes, kind: bytes, *, read_only: bytes) -> Mount:
    options = {option.strip() for option in read_only.split(b",")}
    return Mount(
        mount_id=0,
        device_number="",
        fs_root=b"",
        target=target,
        filesystem_type=kind.decode("ascii", "backslashreplace"),
        source=source,
        read_only=bool(options & {b"ro", b"read-only"}),
    )

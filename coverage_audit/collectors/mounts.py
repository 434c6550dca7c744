"""The mount table, and which mount holds a path (proc_pid_mountinfo(5))."""

from __future__ import annotations

import re
from dataclasses import dataclass, replace
from typing import Final

_ESCAPE: Final = re.compile(rb"\\([0-7]{3})")
_FIXED: Final = 6  # columns before the optional ones


@dataclass(frozen=True, kw_only=True)
class Mount:
    """One row of the mount table; paths as bytes with their escapes undone."""

    mount_id: int
    device_number: str  # "major:minor" of the filesystem as the table writes it
    fs_root: bytes
    target: bytes
    filesystem_type: str
    source: bytes
    read_only: bool


def mount_table(text: bytes) -> tuple[Mount, ...]:
    """Read `/proc/self/mountinfo`, in its order: a later row lies over an earlier one of the same target.

    A row that cannot be read is left out: the mount that it names is then not shown. Where the root itself is mounted
    read-only over a filesystem that is not (the asking process is shut into a sandbox or a container), the mounts' own
    flags are the sandbox's, and only those of the filesystems count.
    """
    found = [row for row in map(_mount, text.split(b"\n")) if row is not None]
    roots = [(mount.read_only, frozen) for mount, frozen in found if mount.target == b"/"]
    shut_in = bool(roots) and roots[-1] == (True, False)
    return tuple(replace(mount, read_only=frozen) if shut_in else mount for mount, frozen in found)


def holder(table: tuple[Mount, ...], path: bytes, mount_id: int | None) -> Mount | None:
    """Return the mount that holds `path` (absolute, without links).

    The kernel's own answer, the mount id of the opened folder, decides where it was shown: only it is right where
    a mount hides another below it. Else the longest target that holds the path, of equal ones the last.
    """
    if mount_id is not None:
        return next((mount for mount in table if mount.mount_id == mount_id), None)
    found = None
    for mount in table:
        if _holds(mount.target, path) and (found is None or len(mount.target) >= len(found.target)):
            found = mount
    return found


def bound_upon_itself(mount: Mount, table: tuple[Mount, ...]) -> Mount | None:
    """Return the mount around one that shows nothing but what lies there anyhow (None: it shows something else).

    The sandbox of a service binds the folders that it may write upon themselves.
    """
    around = holder(tuple(other for other in table if other.target != mount.target), mount.target, None)
    if around is None or around.device_number != mount.device_number:
        return None
    below = mount.target.removeprefix(around.target.rstrip(b"/"))
    return around if mount.fs_root == around.fs_root.rstrip(b"/") + below else None


def _holds(target: bytes, path: bytes) -> bool:
    return target in {b"/", path} or path.startswith(target + b"/")


def _mount(line: bytes) -> tuple[Mount, bool] | None:
    """Read a row; also return whether the filesystem itself, wherever it is mounted, is read-only."""
    columns = line.split(b" ")
    try:
        dash = columns.index(b"-", _FIXED)
        fstype, source, super_options = columns[dash + 1 : dash + 4]
        frozen = b"ro" in super_options.split(b",")
        mount = Mount(
            mount_id=int(columns[0]),
            device_number=columns[2].decode("ascii"),
            fs_root=unescaped(columns[3]),
            target=unescaped(columns[4]),
            filesystem_type=unescaped(fstype).decode("ascii", "backslashreplace"),
            source=unescaped(source),
            read_only=frozen or b"ro" in columns[5].split(b","),
        )
    except (ValueError, IndexError, UnicodeDecodeError):
        return None
    return mount, frozen


def unescaped(column: bytes) -> bytes:
    r"""Undo the octal escapes (a blank is `\040`) of a column of the mount table or of fstab(5)."""
    return _ESCAPE.sub(lambda found: bytes([int(found.group(1), 8) & 0xFF]), column)

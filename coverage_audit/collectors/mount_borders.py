"""Which entries of a tree are mount points, by the mount table: the border that a device number may not show.

A folder bound into a tree from the same filesystem has its device number; only the table tells it apart.
"""

from __future__ import annotations

from collections.abc import Iterable

from coverage_audit.collectors.mounts import bound_upon_itself, mount_table


def mounted_below(root: bytes, table: bytes) -> frozenset[bytes]:
    """Return the mount points below `root` (absolute, without links), relative to it; `table` is mountinfo's text.

    A folder that is bound upon itself, as the sandbox of a service does with those that it may write, is none: what is
    seen there is what lies there.
    """
    inside = root.rstrip(b"/") + b"/"
    mounts = mount_table(table)
    seen = {mount.target: mount for mount in mounts}  # of several on one target the last lies over the others
    return frozenset(
        target.removeprefix(inside)
        for target, mount in seen.items()
        if target.startswith(inside) and target != inside and bound_upon_itself(mount, mounts) is None
    )


def outermost(paths: Iterable[bytes]) -> tuple[bytes, ...]:
    """Return the paths that lie below no other of them, in tree order."""
    kept: list[bytes] = []
    for path in sorted(set(paths), key=lambda one: one.replace(b"/", b"\0")):
        if not kept or not path.startswith(kept[-1] + b"/"):
            kept.append(path)
    return tuple(kept)

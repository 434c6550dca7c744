"""Whether what lies at an address is another machine's: a share that is mounted inside of the volume.

The identity of a volume is that of its own filesystem. A share mounted further down is none of it: its bytes lie on
the machine that serves it, which may be the very one that holds the original.
"""

from __future__ import annotations

from pathlib import PurePosixPath

from coverage_audit.estate.model import POINT, Address
from coverage_audit.evidence.facts import DeviceFacts, MountedFilesystem, VolumeFacts


def served_inside(box: DeviceFacts, volume: VolumeFacts, address: Address) -> MountedFilesystem | None:
    """Return the share on which an address lies below its volume's own path (None: none was seen)."""
    root = PurePosixPath(volume.path)
    place = root / address.path.partition(POINT)[0]
    within = [
        mount
        for mount in box.filesystems
        if place.is_relative_to(mount.target) and PurePosixPath(mount.target) not in {root, *root.parents}
    ]
    deepest = max(within, key=lambda mount: len(PurePosixPath(mount.target).parts), default=None)
    return deepest if deepest is not None and deepest.is_network else None

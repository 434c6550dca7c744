"""Whether what lies at an address is another machine's: a share that is mounted inside of the volume.

The identity of a volume is that of its own filesystem. A share mounted further down is none of it: its bytes lie on
the machine that serves it, which may be the very one that holds the original.
"""

from __future__ import annotations

import posixpath

from coverage_audit.estate.model import POINT, Address
from coverage_audit.evidence.facts import DeviceFacts, MountedFilesystem, VolumeFacts


def served_inside(box: DeviceFacts, volume: VolumeFacts, address: Address) -> MountedFilesystem | None:
    """Return the share on which an address lies below its volume's own path (None: none was seen)."""
    root = posixpath.normpath(volume.path)
    place = posixpath.normpath(posixpath.join(root, address.path.partition(POINT)[0]))
    within = [
        mount for mount in box.filesystems if _leads_to(mount.target, place) and not _leads_to(mount.target, root)
    ]
    deepest = max(within, key=lambda mount: len(mount.target), default=None)
    return deepest if deepest is not None and deepest.is_network else None


def _leads_to(folder: str, place: str) -> bool:
    return f"{place}/".startswith(f"{folder.rstrip('/')}/")

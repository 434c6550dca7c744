"""Which of the things that a volume shows are its identity, and which of those are worth pinning.

Never pinned, because they change while the volume stays the same: the device number (given anew at each mount;
every btrfs subvolume has its own), the boot id, network addresses, capacity, a loop device's file.

The mount source is pinned where it says more than a place in a queue: a network share, a mapped or by-id name.
A kernel name such as `/dev/sdb1` is handed out in the order in which drives answer, so it is pinned only
where no filesystem UUID is shown; then it is all there is, and a false alarm is better than none. For the
same reason drives are pinned by serial or WWN, not by the path of the socket they are plugged into.
A fact that is already pinned is held against everything shown, so that a stronger fact that appears later does
not make the weaker seem to vanish.
"""

from __future__ import annotations

import re
from collections.abc import Sequence

from coverage_audit.estate.model import Volume
from coverage_audit.evidence.facts import DeviceFacts, Gap, PinnedFact, VolumeFacts

_KERNEL_NAME = re.compile(r"/dev/(?:sd|hd|vd|xvd|nvme|mmcblk|loop|md|dm-|sr|nbd|zd|ram|fd)[^/]*")
_OF_THE_VOLUME = frozenset({"filesystem_uuid", "mount_source", "mount_target", "fs_root", "drive"})


def shown_facts(seen: VolumeFacts, device: DeviceFacts | Gap) -> tuple[PinnedFact, ...]:
    """Return all identity facts that are shown, the volume's own first."""
    box = device if isinstance(device, DeviceFacts) else None
    single = (
        ("filesystem_uuid", seen.filesystem_uuid),
        ("filesystem_type", seen.filesystem_type),
        ("mount_source", seen.mount_source),
        ("mount_target", seen.mount_target),
        ("fs_root", seen.fs_root),
        *(("drive", drive) for drive in sorted(seen.drives)),
        ("machine_id", box.machine_id if box else None),
        ("host_key", box.host_key if box else None),
    )
    return tuple(PinnedFact(name=name, value=value) for name, value in single if value)


def to_pin(shown: Sequence[PinnedFact]) -> tuple[PinnedFact, ...]:
    """Return the facts that are worth pinning, out of all that are shown."""
    strong = any(fact.name == "filesystem_uuid" for fact in shown)
    return tuple(fact for fact in shown if not (strong and _volatile(fact)))


def of_the_volume(fact: PinnedFact) -> bool:
    """Whether a fact tells one volume of a box from another; a type or a box's own name does not."""
    return fact.name in _OF_THE_VOLUME


def declared_facts(volume: Volume) -> tuple[PinnedFact, ...]:
    """Return what the owner pinned by hand."""
    declared = volume.identity
    if declared is None:
        return ()
    single = (
        ("filesystem_uuid", declared.filesystem_uuid),
        ("filesystem_type", declared.filesystem_type),
        ("mount_source", declared.mount_source),
        ("mount_target", declared.mount_target),
        *(("drive", serial) for serial in sorted(declared.drive_serials or ())),
        ("machine_id", declared.machine_id),
        ("host_key", declared.host_key),
    )
    return tuple(PinnedFact(name=name, value=value) for name, value in single if value)


def _volatile(fact: PinnedFact) -> bool:
    if fact.name == "mount_source":
        return _KERNEL_NAME.fullmatch(fact.value) is not None
    return fact.name == "drive" and fact.value.startswith("path:")

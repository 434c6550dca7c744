"""What of the boxes that leave no walk can show: filesystems that nobody declared, snapshots outside of every tree."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import Final

from coverage_audit.audits.retirement import NotObserved
from coverage_audit.audits.retiring_looking import Looked
from coverage_audit.audits.retiring_trees import words_on
from coverage_audit.audits.retiring_wish import RetireWish
from coverage_audit.audits.surveying import filesystems_of
from coverage_audit.comparison.leaving_out import KEPT, LeavingOut
from coverage_audit.estate.model import Estate, VolumeKey
from coverage_audit.evidence.facts import DeviceFacts, Gap, VolumeFacts
from coverage_audit.evidence.surveyed import UndeclaredFilesystem
from coverage_audit.ledger.ledger import Ledger

_UNDECLARED: Final = "no volume declares it, so it was not looked at"
_NOT_KEPT: Final = "; its owner says that it need not be kept"
_ALL: Final = "*"
_ZFS: Final = frozenset({"zfs", "fuse.zfs", "zfs-fuse"})
_ZFS_POINTS: Final = b".zfs/snapshot"


def undeclared_on(estate: Estate, looked: Looked, ledger: Ledger) -> tuple[UndeclaredFilesystem, ...]:
    """Return what is mounted on the devices that leave, no volume declares and is no share of another machine."""
    inside = {
        f"{estate.volume(tree.address.volume).path.rstrip('/')}/{tree.address.path}"
        for tree in looked.inner
        if not isinstance(tree.outcome, Gap)
    }
    return tuple(
        one
        for one in filesystems_of(estate, looked.answers, ledger)
        if (one.device in looked.leaving.devices or looked.leaving.volumes.intersection(one.partly))
        and not one.filesystem.is_network
        and one.filesystem.target not in inside
    )


def not_looked_at(
    estate: Estate, wish: RetireWish, looked: Looked, filesystems: Iterable[UndeclaredFilesystem]
) -> Iterator[NotObserved]:
    """Name it all. What the owner says need not be kept is named only, and so is all of it in a rehearsal."""
    named = {word.pattern for word in wish.filesystems}
    for one in filesystems:
        target = one.filesystem.target
        waived = _ALL in named or target in named
        yield NotObserved(
            what=f"{one.device}: the filesystem at {target}",
            why=_UNDECLARED + (_NOT_KEPT if waived else ""),
            blocks=not (waived or estate.rehearsal),
        )
    for device in sorted(looked.leaving.devices):
        facts = looked.sighting.devices.get(device)
        if isinstance(facts, DeviceFacts) and facts.filesystems_unseen:
            yield NotObserved(
                what=f"{device}: what else is mounted there",
                why=f"it could not be listed: {facts.filesystems_unseen}",
                blocks=not (_ALL in named or estate.rehearsal),
            )
    for key in sorted(looked.leaving.volumes):
        seen = looked.sighting.volumes.get(key)
        if isinstance(seen, VolumeFacts):
            yield from _beside(estate, wish, key, seen, named)


def _beside(
    estate: Estate, wish: RetireWish, key: VolumeKey, seen: VolumeFacts, named: Iterable[str]
) -> Iterator[NotObserved]:
    """Name the snapshots and subvolumes that lie outside of the tree that is mounted."""
    if seen.filesystem_type in _ZFS:
        patterns = LeavingOut([word.pattern for word in words_on(estate, key, wish.not_kept)])
        waived = patterns.which(_ZFS_POINTS, is_folder=True) != KEPT
        yield NotObserved(
            what=f"{key}/{_ZFS_POINTS.decode()}",
            why="snapshots of ZFS are no part of the tree that was walked" + (_NOT_KEPT if waived else ""),
            blocks=not (waived or estate.rehearsal),
        )
    if seen.filesystem_type == "btrfs" and seen.fs_root not in {None, "/"}:
        waived = bool({_ALL, seen.mount_target} & set(named))
        yield NotObserved(
            what=f"{key}: the filesystem at {seen.mount_target}",
            why=f"only its part {seen.fs_root} is mounted: what else it holds, snapshots among it, was not looked at"
            + (_NOT_KEPT if waived else ""),
            blocks=not (waived or estate.rehearsal),
        )

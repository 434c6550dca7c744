"""What of the boxes that leave no walk can show: filesystems that nobody declared, snapshots outside of every tree."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import Final

from coverage_audit.audits.retirement import NotObserved
from coverage_audit.audits.retiring_looking import Looked
from coverage_audit.audits.retiring_trees import SAY_NOT_KEPT, words_on
from coverage_audit.audits.retiring_wish import NotKeptWord, RetireWish
from coverage_audit.audits.surveying import filesystems_of
from coverage_audit.comparison.leaving_out import KEPT, LeavingOut
from coverage_audit.estate.model import Estate, VolumeKey
from coverage_audit.evidence.facts import DeviceFacts, Gap, VolumeFacts
from coverage_audit.evidence.surveyed import UndeclaredFilesystem
from coverage_audit.judgement.serving import lies_elsewhere
from coverage_audit.ledger.ledger import Ledger

_UNDECLARED: Final = "no volume declares it, so it was not looked at"
_OF_FILESYSTEM: Final = (
    "Declare it as a volume, or say that it need not be kept: --filesystem-not-kept PATH, --who, --why."
)
_OF_ALL: Final = "Say of all that is there that it need not be kept: --filesystem-not-kept '*', --who, --why."
_ALL: Final = "*"
_SFTP: Final = "sftp"
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
        and not (one.filesystem.target in inside and one.filesystem.fs_root in {"/", None})
    )


def not_looked_at(
    estate: Estate, wish: RetireWish, looked: Looked, filesystems: Iterable[UndeclaredFilesystem]
) -> Iterator[NotObserved]:
    """Name it all. What the owner says need not be kept is named only, and so is all of it in a rehearsal."""
    for one in filesystems:
        target = one.filesystem.target
        yield _filesystem(estate, wish, f"{one.device}: the filesystem at {target}", _UNDECLARED, target)
    for device in sorted(looked.leaving.devices):
        unseen = _why_unseen(looked.sighting.devices.get(device))
        if unseen and any(key.device == device and _is_walked(looked, key) for key in looked.leaving.volumes):
            yield _filesystem(
                estate, wish, f"{device}: what else is mounted there", f"it could not be listed: {unseen}"
            )
    for key in sorted(looked.leaving.volumes):
        seen = looked.sighting.volumes.get(key)
        if isinstance(seen, VolumeFacts):
            yield from _beside(estate, wish, looked, seen)


def _beside(estate: Estate, wish: RetireWish, looked: Looked, seen: VolumeFacts) -> Iterator[NotObserved]:
    """Name what lies outside of the tree that is mounted: snapshots, subvolumes, all around a folder bound there."""
    key = seen.volume
    if seen.filesystem_type in _ZFS:
        words = words_on(estate, key, wish.not_kept)
        which = LeavingOut([word.pattern for word in words]).which(_ZFS_POINTS, is_folder=True)
        why = "snapshots of ZFS are no part of the tree that was walked"
        word = None if which == KEPT else words[which]
        yield _not_seen(estate, f"{key}/{_ZFS_POINTS.decode()}", why, word, SAY_NOT_KEPT)
    if seen.filesystem_type is None:
        why = "which filesystem it is was not shown: whether it has snapshots beside its tree cannot be seen"
        yield _filesystem(estate, wish, f"{key}: the filesystem at {seen.path}", why, seen.path)
    elif seen.fs_root not in {None, "/"} and not lies_elsewhere(seen) and not _is_shown_whole(looked, seen):
        why = f"only its part {seen.fs_root} is mounted: what else it holds, snapshots among it, was not looked at"
        yield _filesystem(estate, wish, f"{key}: the filesystem at {seen.mount_target}", why, seen.mount_target)


def _filesystem(estate: Estate, wish: RetireWish, what: str, why: str, target: str | None = None) -> NotObserved:
    """Name a filesystem that was not looked at; `target` is where it is mounted, None: not known."""
    word = next((word for word in wish.filesystems if word.pattern in {_ALL, target}), None)
    return _not_seen(estate, what, why, word, _OF_ALL if target is None else _OF_FILESYSTEM)


def _not_seen(estate: Estate, what: str, why: str, word: NotKeptWord | None, mend: str) -> NotObserved:
    said = f"{why}; {word.said}" if word else why
    return NotObserved(what=what, why=said, mend=mend, blocks=not (word or estate.rehearsal))


def _why_unseen(facts: DeviceFacts | Gap | None) -> str:
    """Say why it is not known what else a device has mounted (empty: it is)."""
    if not isinstance(facts, DeviceFacts):
        return "the device showed nothing of itself"
    if facts.over == _SFTP:
        return "it offers its files over SFTP alone"
    return facts.filesystems_unseen


def _is_walked(looked: Looked, key: VolumeKey) -> bool:
    return not isinstance(looked.wholes.get(key), Gap | None)


def _is_shown_whole(looked: Looked, seen: VolumeFacts) -> bool:
    """Whether all of this filesystem is walked by way of another volume that leaves: its root, mounted as such."""
    return any(
        isinstance(other, VolumeFacts)
        and (other.fs_root, other.path) == ("/", other.mount_target)
        and other.filesystem_uuid is not None
        and other.filesystem_uuid == seen.filesystem_uuid
        and _is_walked(looked, other.volume)
        for other in (looked.sighting.volumes.get(key) for key in looked.leaving.volumes)
    )

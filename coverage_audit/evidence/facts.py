"""What a box showed of itself: facts, and the gaps where it showed nothing.

A gap is a value with a reason. It can end in `unverified`, never in a clean answer.
All instants are aware and in UTC; None always means "not shown".
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta
from enum import StrEnum

from coverage_audit.estate.model import Address, DeviceId, VolumeKey


class GapKind(StrEnum):
    """Why something could not be observed."""

    UNREACHABLE = "unreachable"
    HOST_KEY = "host key"
    LOGIN = "login refused"
    TIME_LIMIT = "time limit"
    CUT = "cut"
    NO_SHELL = "no shell"
    NO_TOOL = "no tool"
    MISSING = "missing"
    UNREADABLE = "unreadable"
    MALFORMED = "malformed"
    NOT_MOUNTED = "not mounted"
    ON_ROOT = "on the root filesystem"
    ANOTHER_VOLUME = "another volume"
    STORAGE = "auditor's own disk"
    SHELF = "on the shelf"
    REFUSED = "refused by the gate"
    NOT_YET = "not possible yet"


@dataclass(frozen=True, kw_only=True)
class Gap:
    """Something that was to be observed and was not: `subject` is a device, volume or address."""

    subject: str
    kind: GapKind
    detail: str
    at: datetime

    def __str__(self) -> str:
        """Say it in one line."""
        return f"{self.subject}: {self.kind} ({self.detail})" if self.detail else f"{self.subject}: {self.kind}"


@dataclass(frozen=True, kw_only=True)
class MountedFilesystem:
    """One mounted filesystem that can hold data, seen in a device's mount table. Sizes are bytes, None: not shown.

    `target` is where it is mounted, exactly (a name that is no UTF-8 as `os.fsdecode` writes it); `fs_root` is the
    part of the filesystem that is mounted (`/`, a subvolume, a folder bound there) and `device_number` its st_dev
    as "major:minor". `is_network`: its bytes lie on another machine, or may. `read_only` is how it is mounted there.
    """

    source: str
    target: str
    filesystem_type: str
    uuid: str | None = None
    capacity: int | None = None
    free: int | None = None
    fs_root: str | None = None
    device_number: str | None = None
    is_network: bool = False
    read_only: bool | None = None


@dataclass(frozen=True, kw_only=True)
class DeviceFacts:
    """What a device showed of itself. `clock_offset` is the device's clock minus the auditor's.

    `clock_uncertainty` is half the round trip of the question (the offset is known to that much).
    `is_guest` is True for a machine that shows itself virtual or a container, None when not shown.
    `filesystems` are those that can hold data; where they could not be listed there are none, and
    `filesystems_unseen` says why.
    """

    device: DeviceId
    at: datetime
    over: str  # "local", "ssh", or "sftp": a box that runs no commands
    machine_id: str | None = None
    boot_id: str | None = None
    host_key: str | None = None  # "SHA256:…", the fingerprint; None when local
    is_guest: bool | None = None
    own_addresses: frozenset[str] = frozenset()  # network addresses and host names of the box itself
    clock_offset: timedelta | None = None
    clock_uncertainty: timedelta | None = None
    time_zone: str | None = None
    filesystems: tuple[MountedFilesystem, ...] = ()
    filesystems_unseen: str = ""


@dataclass(frozen=True, kw_only=True)
class VolumeFacts:
    """What a volume showed of itself (from the mount table, statfs and the block devices).

    `mount_source` is e.g. `/dev/sda1`, `server:/export`, `//server/share`; `fs_root` is the part of the
    filesystem that is mounted (`/` or a subvolume or bind-mounted folder); `drives` are serials or
    WWNs where shown, else kernel paths of the physical drives prefixed with `path:`.
    Sizes are bytes.
    """

    volume: VolumeKey
    at: datetime
    path: str
    filesystem_type: str | None = None
    filesystem_uuid: str | None = None
    mount_source: str | None = None
    mount_target: str | None = None
    fs_root: str | None = None
    device_number: str | None = None  # "major:minor" of st_dev
    drives: frozenset[str] = frozenset()
    backing_file: str | None = None  # a loop device's file, on the same machine
    on_root: bool | None = None
    read_only: bool | None = None
    rotational: bool | None = None
    capacity: int | None = None
    free: int | None = None
    inodes: int | None = None
    inodes_free: int | None = None

    @property
    def mounted(self) -> tuple[str | None, ...]:
        """What is mounted there: another volume, or another part of one, shows another of these."""
        return (self.filesystem_uuid, self.device_number, self.mount_source, self.mount_target, self.fs_root)


class PinState(StrEnum):
    """How a volume's identity stands against the one pinned."""

    PINNED_NOW = "pinned now"
    AS_PINNED = "as pinned"
    CHANGED = "changed"
    ASKED = "asked about"  # on the root filesystem, not declared so: neither pinned nor trusted
    BY_CONTENT = "by content"  # the box can show none: continuity of content is the identity
    TAKEN_AS_DECLARED = "taken as declared"  # a rehearsal on the root filesystem


@dataclass(frozen=True, kw_only=True)
class PinnedFact:
    """One pinned identity fact, e.g. name `filesystem_uuid`, value `6c2e…`."""

    name: str
    value: str


@dataclass(frozen=True, kw_only=True)
class IdentityCheck:
    """A volume's identity in this audit: what was expected, what was seen, what differs (in words).

    `seen` is what there is to pin; of a volume that is as pinned it holds all of `pinned` and whatever is shown in
    addition, which `newly_shown` says in words. That is no difference.
    """

    volume: VolumeKey
    state: PinState
    pinned: tuple[PinnedFact, ...] = ()
    seen: tuple[PinnedFact, ...] = ()
    differences: tuple[str, ...] = ()
    newly_shown: tuple[str, ...] = ()

    @property
    def trusted(self) -> bool:
        """Whether what lies there may be taken for what was declared."""
        return self.state not in {PinState.CHANGED, PinState.ASKED}


class DatedBy(StrEnum):
    """Who says the time of a recovery point."""

    NAME = "its name"
    FILESYSTEM = "its filesystem"
    COMMAND = "the owner's command"


@dataclass(frozen=True, kw_only=True)
class RecoveryPoint:
    """An instant to which a copy can bring the dataset back, as the interval that its name leaves open.

    `earliest` equals `latest` but for a name that means two instants (the hour repeated in autumn) or a whole day.
    `assumed_zone` names the zone that was taken where the name has none. `size` is bytes, where the point is a file or
    a command says it. `identity` is what its filesystem knows it by: the same identity is the same point, wherever it
    is reported. `doubts` are sentences about what speaks against it without refusing it. `sealed`: its filesystem shows
    that it is read-only, and nothing there says that it was written to since it was made; `generation` is the
    filesystem's own count at its last change, where it keeps one.
    """

    name: str
    earliest: datetime
    latest: datetime
    assumed_zone: str | None = None
    dated_by: DatedBy = DatedBy.NAME
    size: int | None = None
    identity: str | None = None
    doubts: tuple[str, ...] = ()
    sealed: bool = False
    generation: int | None = None


@dataclass(frozen=True, kw_only=True)
class PointList:
    """All recovery points of one copy, oldest first, and the names that are none (with the reason).

    `thin` are those among the refused that would be points but for what they hold: they are empty, far smaller than
    others, or begin like an error message (their `doubts` say so).
    """

    address: Address
    at: datetime
    points: tuple[RecoveryPoint, ...]
    refused: tuple[tuple[str, str], ...] = ()
    thin: tuple[RecoveryPoint, ...] = ()

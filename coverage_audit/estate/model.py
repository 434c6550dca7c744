"""What is declared: the estate as frozen values.

The reader of `estate.yaml` builds these once; nothing behind it sees a dictionary.
Durations are `timedelta`; paths are POSIX, absolute for volumes, relative for addresses ("" is the
volume's own root); ids are those the owner wrote.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import date, time, timedelta
from enum import IntEnum, StrEnum
from typing import NewType, TypeVar
from zoneinfo import ZoneInfo

from coverage_audit.estate.access import Access, DeclaredIdentity
from coverage_audit.estate.criteria import Keep, Rhythm, UnjudgedCriterion, Verify
from coverage_audit.estate.hardware import Drive, Parity
from coverage_audit.estate.limits import Limits
from coverage_audit.estate.sources import DatedFiles, Points

SiteId = NewType("SiteId", str)
DeviceId = NewType("DeviceId", str)
VolumeId = NewType("VolumeId", str)
PolicyId = NewType("PolicyId", str)
DatasetId = NewType("DatasetId", str)

POINT = "{point}"
"""The part of an address that stands for one recovery point."""


class Medium(StrEnum):
    """What a volume is made of."""

    HDD = "hdd"
    SSD = "ssd"
    TAPE = "tape"
    OPTICAL = "optical"
    HOSTED = "hosted"


class Proof(IntEnum):
    """How much was observed of a copy; a policy names the least that counts."""

    DECLARED = 0
    DATED = 1
    LISTED = 2
    SAMPLED = 3
    RESTORED = 4

    @property
    def word(self) -> str:
        """The word that the estate file and every output use."""
        return self.name.lower()


@dataclass(frozen=True, kw_only=True, order=True)
class VolumeKey:
    """One volume of one device, written `device:volume`."""

    device: DeviceId
    volume: VolumeId

    def __str__(self) -> str:
        """Write it as the estate file does."""
        return f"{self.device}:{self.volume}"


@dataclass(frozen=True, kw_only=True, order=True)
class Address:
    """A place in the estate, written `device:volume/path`; the path may hold `{point}`."""

    volume: VolumeKey
    path: str

    def __str__(self) -> str:
        """Write it as the estate file does."""
        return f"{self.volume}/{self.path}" if self.path else str(self.volume)

    @property
    def has_point(self) -> bool:
        """Whether one part of the path is a recovery point."""
        return POINT in self.path

    def at_point(self, name: str) -> Address:
        """Return the same place with the recovery point's name filled in."""
        return Address(volume=self.volume, path=self.path.replace(POINT, name))


@dataclass(frozen=True, kw_only=True)
class Site:
    """A place that one fire, flood or theft can take whole."""

    id: SiteId
    name: str


@dataclass(frozen=True, kw_only=True)
class Volume:
    """A filesystem or pool on a device.

    `drives` are what it is made of (empty: not declared), `key_kept` the sites and devices that keep the key of what is
    encrypted.
    """

    key: VolumeKey
    path: str
    medium: Medium
    offline: bool = False
    immutable: bool = False
    on_root: bool = False
    stored_on: VolumeKey | None = None
    identity: DeclaredIdentity | None = None
    drives: tuple[Drive, ...] = ()
    parity: Parity | None = None
    encrypted: bool = False
    key_kept: tuple[str, ...] = ()

    def at(self, below: str) -> str:
        """Return where what lies below its path is on the device."""
        return f"{self.path.rstrip('/')}/{below}".rstrip("/") or "/"


@dataclass(frozen=True, kw_only=True)
class Attestation:
    """The owner's word that this device is apart from another: who says so and why."""

    other: DeviceId
    statement: str


@dataclass(frozen=True, kw_only=True)
class Device:
    """A box or a loose drive.

    `link` is the slowest way to it in bits a second, `fetch_time` how long it takes to have it (or what it holds) here.
    """

    id: DeviceId
    site: SiteId
    access: Access
    volumes: tuple[Volume, ...]
    failure_domains: tuple[tuple[str, str], ...] = ()
    in_service: date | None = None
    formerly: tuple[DeviceId, ...] = ()
    may_be_off: timedelta | None = None
    runs_on: DeviceId | None = None
    attested_apart: tuple[Attestation, ...] = ()
    time_zone: ZoneInfo | None = None
    link: int | None = None
    fetch_time: timedelta | None = None


@dataclass(frozen=True, kw_only=True)
class Policy:
    """The audit criteria of a dataset. `copies` counts the original as one.

    `dump_size` and `shrinkage` are shares (0 to 1), `headroom` how far ahead of its filling each volume that holds the
    dataset must be, `drill` how often files are to be read back, `immutable` a count of copies.
    """

    id: PolicyId
    copies: int
    max_age: timedelta
    media: int | None = None
    offsite: int | None = None
    offline: int | None = None
    proof: Proof = Proof.LISTED
    headroom: timedelta | None = None
    keep: Keep | None = None
    rhythm: Rhythm | None = None
    dump_size: float | None = None
    verify: Verify | None = None
    drill: timedelta | None = None
    shrinkage: float | None = None
    immutable: int | None = None
    restore_within: timedelta | None = None
    unjudged: tuple[UnjudgedCriterion, ...] = ()


@dataclass(frozen=True, kw_only=True)
class Copy:
    """Another place that should hold a dataset; unset criteria are the policy's.

    `moved_from` are addresses at which this copy lay before: what is known of them goes on. `taken_from` is the copy
    of which it is made (None: the original), `key_kept` the sites and devices that keep its key where it is encrypted.
    """

    address: Address
    points: Points | None = None
    max_age: timedelta | None = None
    proof: Proof | None = None
    leave_out: tuple[str, ...] = ()
    moved_from: tuple[Address, ...] = ()
    taken_from: Address | None = None
    encrypted: bool = False
    key_kept: tuple[str, ...] = ()

    @property
    def is_opaque(self) -> bool:
        """Whether it can be asked for its points alone: none of them is a tree that could be compared."""
        return isinstance(self.points, DatedFiles) or (self.points is not None and not self.address.has_point)


@dataclass(frozen=True, kw_only=True)
class Dataset:
    """A named body of data with one original location and a policy.

    `formerly` are ids that it had before, `moved_from` addresses at which its original lay: its history goes on.
    """

    id: DatasetId
    policy: PolicyId
    original: Address
    copies: tuple[Copy, ...]
    leave_out: tuple[str, ...] = ()
    formerly: tuple[DatasetId, ...] = ()
    moved_from: tuple[Address, ...] = ()

    @property
    def places(self) -> tuple[Address, ...]:
        """Where it is declared to lie: the original, then the copies."""
        return (self.original, *(copy.address for copy in self.copies))


@dataclass(frozen=True, kw_only=True)
class NotKept:
    """The owner's word that some of what lies on a volume need not be kept: who says so, and why.

    `names` are patterns in gitignore syntax, relative to the volume's path.
    """

    volume: VolumeKey
    names: tuple[str, ...]
    who: str
    why: str


@dataclass(frozen=True, kw_only=True)
class Schedule:
    """When the daemon works, in the estate's zone."""

    audit: time | None = None
    summary: tuple[str, time] | None = None


class NoticeKind(StrEnum):
    """What an address wants to be told."""

    FAILING = "failing"
    RECOVERED = "recovered"
    SUMMARY = "summary"


@dataclass(frozen=True, kw_only=True)
class Kept:
    """Where an address is kept that never stands in the estate: exactly one of file, variable, credential."""

    url_file: str | None = None
    url_env: str | None = None
    url_credential: str | None = None

    @property
    def whose(self) -> str:
        """How messages name it."""
        return "alive"


@dataclass(frozen=True, kw_only=True)
class NoticeTarget(Kept):
    """Where notices go; not in `quiet` hours (from, to; local), of datasets of `policies` alone (None: all)."""

    name: str
    send: frozenset[NoticeKind]
    quiet: tuple[time, time] | None = None
    policies: frozenset[PolicyId] | None = None

    @property
    def whose(self) -> str:
        """How messages name it."""
        return f"notices '{self.name}'"


@dataclass(frozen=True, kw_only=True)
class Estate:
    """All that is declared. `text` is the file as it was read: each audit stores what it judged.

    `file` is where it lies (empty: nowhere).
    `litter` are patterns of names that every dataset leaves out: what operating systems rewrite by themselves.
    `alive` is called after each night, `metrics_file` (on the auditor's machine) written.
    """

    name: str
    time_zone: ZoneInfo
    sites: tuple[Site, ...]
    devices: tuple[Device, ...]
    policies: tuple[Policy, ...]
    datasets: tuple[Dataset, ...]
    limits: Limits
    schedule: Schedule = field(default_factory=Schedule)
    notices: tuple[NoticeTarget, ...] = ()
    alive: Kept | None = None
    metrics_file: str | None = None
    litter: tuple[str, ...] = ()
    not_kept: tuple[NotKept, ...] = ()
    rehearsal: bool = False
    text: str = ""
    file: str = field(default="", compare=False)

    def site(self, wanted: SiteId) -> Site:
        """Return the site of this id; the reader has made sure that it exists (KeyError else)."""
        return _named(self.sites, wanted)

    def device(self, wanted: DeviceId) -> Device:
        """Return the device of this id (KeyError if there is none)."""
        return _named(self.devices, wanted)

    def policy(self, wanted: PolicyId) -> Policy:
        """Return the policy of this id (KeyError if there is none)."""
        return _named(self.policies, wanted)

    def dataset(self, wanted: DatasetId) -> Dataset:
        """Return the dataset of this id (KeyError if there is none)."""
        return _named(self.datasets, wanted)

    def volume(self, wanted: VolumeKey) -> Volume:
        """Return the volume of this key (KeyError if there is none)."""
        for volume in self.device(wanted.device).volumes:
            if volume.key == wanted:
                return volume
        raise KeyError(str(wanted))


_T = TypeVar("_T", Site, Device, Policy, Dataset)


def _named(values: tuple[_T, ...], wanted: str) -> _T:
    for value in values:
        if value.id == wanted:
            return value
    raise KeyError(wanted)

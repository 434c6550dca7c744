"""What is asked of one device in one audit, and what came back."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from zoneinfo import ZoneInfo

from coverage_audit.estate.model import Address, Copy, Device, Volume
from coverage_audit.evidence.facts import DeviceFacts, Gap, PointList, VolumeFacts
from coverage_audit.evidence.manifest import Blind, Manifest


@dataclass(frozen=True, kw_only=True)
class Question:
    """All that one audit wants from one device.

    `trees` are addresses without `{point}`; `pointed` are copies whose points are to be listed and
    whose newest point's tree is to be walked. `skip_points` names points not to be walked again.
    `digest` names the algorithm by which the content of all files is to be read (None: not at all).
    `estate_zone` reads zone-less names where neither the estate nor the box says the device's own zone.
    `surveyed` are volumes that are to be walked whole, after all else (one whose root is among `trees` is walked once).
    """

    device: Device
    volumes: tuple[Volume, ...]
    trees: tuple[Address, ...]
    pointed: tuple[Copy, ...] = ()
    skip_points: frozenset[Address] = frozenset()
    digest: str | None = None
    estate_zone: ZoneInfo | None = None
    surveyed: tuple[Address, ...] = ()


@dataclass(frozen=True, kw_only=True)
class SeenTree:
    """One tree's outcome. For a dated copy `point_of` is its address with `{point}` still in it.

    `undigested` are files of which no digest could be made though one was asked for.
    """

    address: Address
    outcome: Manifest | Gap
    point_of: Address | None = None
    undigested: tuple[Blind, ...] = ()


@dataclass(frozen=True, kw_only=True)
class SeenPoints:
    """The recovery points of one dated copy (its address with `{point}`)."""

    address: Address
    outcome: PointList | Gap


@dataclass(frozen=True, kw_only=True)
class Answer:
    """All that came back from one device. What was asked for and is missing here is a gap.

    `surveyed` are whole volumes: they tell what lies where and are kept as evidence of no dataset.
    """

    device: Device
    at: datetime
    facts: DeviceFacts | Gap
    volumes: tuple[VolumeFacts | Gap, ...]
    trees: tuple[SeenTree, ...]
    points: tuple[SeenPoints, ...] = ()
    surveyed: tuple[SeenTree, ...] = ()


@dataclass(frozen=True, kw_only=True)
class SecondLook:
    """A path looked at once more: None where it was gone. `birth_ns` None: the box does not say."""

    path: bytes
    size: int | None
    mtime_ns: int | None
    ctime_ns: int | None
    birth_ns: int | None

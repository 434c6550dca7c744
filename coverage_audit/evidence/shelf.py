"""Drives that are not attached when they are judged: what was recorded of them, and when they were seen plugged in.

Of a drive only what it carries with it is its own. The box at which it is plugged in lends it a machine id, a clock and
a place in a mount table: none of that says which drive it is, nor that the two are one.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import datetime

from coverage_audit.estate.model import Address, DeviceId, VolumeKey
from coverage_audit.evidence.facts import DeviceFacts, PointList, VolumeFacts
from coverage_audit.evidence.manifest import Manifest


@dataclass(frozen=True, kw_only=True)
class ShelfTree:
    """One tree of a shelf drive as it was recorded. `address` is the declared one (a dated copy's with `{point}`).

    `at` is when its listing began. `host` is the box at which the drive was plugged in, None where that was the
    machine that recorded it. `device` and `volume` are what was shown then (None: by an open manifest, nothing);
    `how` says in a few words how it came to be recorded.
    """

    address: Address
    manifest: Manifest
    at: datetime
    how: str
    host: DeviceId | None = None
    device: DeviceFacts | None = None
    volume: VolumeFacts | None = None
    points: PointList | None = None


@dataclass(frozen=True, kw_only=True)
class Attached:
    """A shelf volume that is plugged in at `host`: since when without a break, and when it was last seen there."""

    volume: VolumeKey
    host: DeviceId
    since: datetime
    last: datetime


def without_host(facts: DeviceFacts) -> DeviceFacts:
    """Return what a box showed without what is its own; that it is a guest stays: it invents its drives' serials."""
    return replace(
        facts,
        machine_id=None,
        boot_id=None,
        host_key=None,
        own_addresses=frozenset(),
        filesystems=(),
        filesystems_unseen="",
    )


def of_the_drive(facts: VolumeFacts) -> VolumeFacts:
    """Return what a volume showed without where it is plugged in and mounted: what is left is the drive's identity."""
    return replace(facts, mount_source=None, mount_target=None, fs_root=None, device_number=None)


@dataclass(frozen=True, kw_only=True)
class DriveSeen:
    """A shelf volume that an audit found plugged in; `not_recorded` says why it was not recorded (empty: it was).

    Two drives of one filesystem UUID at once are neither: `twins` says where both are then.
    """

    volume: VolumeKey
    attached: Attached | None = None
    not_recorded: tuple[str, ...] = ()
    twins: tuple[str, ...] = ()

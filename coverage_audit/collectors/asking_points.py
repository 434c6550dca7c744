"""Asking for the recovery points of one copy, by the kind that it has."""

from __future__ import annotations

import secrets
from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from coverage_audit.collectors.first_words import complaints
from coverage_audit.collectors.point_lists import without_complaints
from coverage_audit.collectors.point_names import folder_of, own_name
from coverage_audit.collectors.readers import btrfs_points, command_points, points, second_look, zfs_points
from coverage_audit.collectors.replies import Reply
from coverage_audit.collectors.requests import Request
from coverage_audit.collectors.stamps.local_time import Zone
from coverage_audit.estate.model import Copy, Device
from coverage_audit.estate.sources import BtrfsPoints, CommandPoints, DatedFiles, DatedFolders, ZfsPoints
from coverage_audit.evidence.collected import SecondLook
from coverage_audit.evidence.facts import PointList


@dataclass(frozen=True, kw_only=True)
class PointQuestion:
    """What is asked about one copy: `path` is its address on the device, `volume` the volume's own path.

    `put` sends a request and returns the reply; `now` reads the auditor's clock.
    """

    copy: Copy
    path: str
    volume: str
    zone: Zone
    put: Callable[[Request], Reply]
    now: Callable[[], datetime]


def zone_of(device: Device, shown: str | None, estate_zone: ZoneInfo | None) -> Zone:
    """Choose the zone for names without one: declared for the device, else shown by it, else the estate's."""
    if device.time_zone is not None:
        return Zone(zone=device.time_zone, source="declared for the device")
    try:
        if shown:
            return Zone(zone=ZoneInfo(shown), source="shown by the device")
    except (ZoneInfoNotFoundError, ValueError, OSError):
        pass  # a zone that this machine does not know is as good as none: the estate's is taken, and that is said
    return Zone(zone=estate_zone, source="the estate's")


def points_of(asked: PointQuestion) -> PointList:
    """Return the copy's recovery points.

    Raises TransportError where they cannot be listed whole.
    """
    declared = asked.copy.points
    match declared:
        case DatedFolders(pattern=pattern):
            return points.of_folders(
                _listing(asked), address=asked.copy.address, pattern=pattern, zone=asked.zone, at=asked.now()
            )
        case DatedFiles(pattern=pattern):
            return _files(asked, pattern)
        case BtrfsPoints(snapshot_of=source):
            return _btrfs(asked, source)
        case ZfsPoints(dataset=dataset):
            return _zfs(asked, dataset)
        case CommandPoints():
            return _command(asked, declared)
        case None:
            raise ValueError("a copy without recovery points has none to be asked for")


def _nonce() -> str:
    return secrets.token_hex(16)


def _listing(asked: PointQuestion, *, of_files: bool = False) -> points.Listing:
    request = points.request(asked.path, _nonce(), of_files=of_files)
    reply = asked.put(request)
    return points.listing(reply.text, reply.exit_status, nonce=request.nonce, path=asked.path, of_files=of_files)


def _files(asked: PointQuestion, pattern: str | None) -> PointList:
    listing, address, zone = _listing(asked, of_files=True), asked.copy.address, asked.zone
    wanted = points.candidates(listing, address=address, pattern=pattern, zone=zone)
    looks = _looks(asked, wanted)
    found = points.of_files(listing, looks, address=address, pattern=pattern, zone=zone, at=asked.now())
    said = complaints(folder_of(asked.path), looks, asked.put)
    return without_complaints(found, {own_name(file, address.path): words for file, words in said.items()})


def _looks(asked: PointQuestion, wanted: tuple[bytes, ...]) -> list[SecondLook]:
    root, looks = folder_of(asked.path), list[SecondLook]()
    for batch in second_look.batches(root, wanted):
        request = second_look.request(root, batch, _nonce())
        reply = asked.put(request)
        looks += second_look.parse(reply.text, reply.exit_status, nonce=request.nonce, root=root, paths=batch)
    return looks


def _btrfs(asked: PointQuestion, source: str | None) -> PointList:
    known = asked.volume if source is None else f"{asked.volume.rstrip('/')}/{source}"
    request = btrfs_points.request(asked.path, known, _nonce(), received=source is None)
    reply = asked.put(request)
    return btrfs_points.parse(
        reply.text,
        reply.exit_status,
        nonce=request.nonce,
        address=asked.copy.address,
        received=source is None,
        zone=asked.zone,
        at=asked.now(),
    )


def _zfs(asked: PointQuestion, dataset: str) -> PointList:
    request = zfs_points.request(dataset, _nonce())
    reply = asked.put(request)
    return zfs_points.parse(
        reply.text,
        reply.exit_status,
        nonce=request.nonce,
        dataset=dataset,
        address=asked.copy.address,
        zone=asked.zone,
        at=asked.now(),
    )


def _command(asked: PointQuestion, declared: CommandPoints) -> PointList:
    request = command_points.request(declared, _nonce())
    reply = asked.put(request)
    return command_points.parse(
        reply.text,
        reply.exit_status,
        nonce=request.nonce,
        points=declared,
        address=asked.copy.address,
        zone=asked.zone,
        at=asked.now(),
    )

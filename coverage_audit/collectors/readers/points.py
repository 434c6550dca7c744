"""The recovery points of a dated copy: folders whose names say an instant.

The folder that holds `{point}` is listed, NUL-ended and with `find`'s own exit status; each name is read by the
declared `strptime` pattern. A name that is no point is kept with the reason, never dropped in silence.
"""

from __future__ import annotations

import os
from collections.abc import Iterable
from dataclasses import replace
from datetime import UTC, datetime
from typing import Final
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from coverage_audit.collectors.dated_names import NoPointError, Zone, interval
from coverage_audit.collectors.framing import fields
from coverage_audit.collectors.requests import Request
from coverage_audit.collectors.transport import TransportError
from coverage_audit.estate.model import POINT, Address, Device
from coverage_audit.evidence.facts import GapKind, PointList, RecoveryPoint
from coverage_audit.evidence.visible import visible

_ABSENT: Final = (b": No such file or directory", b": Not a directory")


def request(path: str, nonce: str) -> Request:
    """Return the request for the names in the folder that holds `{point}`; `path` is absolute and has it."""
    return Request(verb="names", arguments=(os.fsencode(_folder(path)),), nonce=nonce)


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


def parse(  # noqa: PLR0913 - the pattern, the zone and the moment are what a name is read by
    reply: bytes, exit_status: int | None, *, nonce: str, address: Address, pattern: str, zone: Zone, at: datetime
) -> PointList:
    """Read the answer into points, oldest first; a point later than `at` is refused.

    Raises TransportError where the folder is missing, cannot be read, or the listing is not whole.
    """
    folders, others = _listed(fields(reply, exit_status, nonce), _folder(address.path))
    before, after = _around(address.path)
    points: list[RecoveryPoint] = []
    refused = [(visible(name), "it is no folder") for name in others]
    for raw in sorted(folders):
        try:
            points.append(_point(raw, before, after, pattern, zone, at))
        except NoPointError as why:
            refused.append((visible(raw), str(why)))
    kept, doubles = _without_doubles(points)
    return PointList(address=address, at=at, points=kept, refused=tuple(sorted([*refused, *doubles])))


def _folder(path: str) -> str:
    return path.partition(POINT)[0].rpartition("/")[0] or ("/" if path.startswith("/") else "")


def _around(path: str) -> tuple[str, str]:
    """Return what stands before and after `{point}` in its own part of the path."""
    before, _, after = path.partition(POINT)
    return before.rpartition("/")[2], after.partition("/")[0]


def _listed(values: tuple[bytes, ...], folder: str) -> tuple[list[bytes], list[bytes]]:
    if values[:1] == (b"refused",):
        why = values[1].strip()
        kind = GapKind.MISSING if why.endswith(_ABSENT) else GapKind.UNREADABLE
        raise TransportError(kind, f"{folder}: {visible(why.rpartition(b': ')[2])}")
    found: dict[bytes, list[bytes]] = {b"folders": [], b"others": []}
    at = 0
    for part in (b"folders", b"others"):
        if at >= len(values) or values[at] != part:
            raise TransportError(GapKind.MALFORMED, f"{folder}: the listing has no {part.decode()}")
        at += 1
        while at < len(values) and values[at] != b"status":
            found[part].append(values[at].rpartition(b"/")[2])
            at += 1
        if at + 1 >= len(values) or values[at + 1] != b"ok":
            error = visible(values[at + 1]) if at + 1 < len(values) else "it has no end"
            raise TransportError(GapKind.UNREADABLE, f"{folder}: the listing is not whole: {error}")
        at += 2
    return found[b"folders"], found[b"others"]


def _point(raw: bytes, before: str, after: str, pattern: str, zone: Zone, at: datetime) -> RecoveryPoint:
    try:
        whole = raw.decode("utf-8")
    except UnicodeDecodeError:
        raise NoPointError("its name is no UTF-8") from None
    name = whole.removeprefix(before).removesuffix(after)
    if f"{before}{name}{after}" != whole or not name:
        raise NoPointError(f"it is not named {before}{POINT}{after}")
    earliest, latest, assumed = interval(name, pattern, zone)
    if earliest > at:
        raise NoPointError(f"it lies in the future: {earliest.astimezone(UTC):%Y-%m-%dT%H:%M:%SZ}")
    point = RecoveryPoint(name=name, earliest=earliest, latest=min(latest, at))
    return replace(point, assumed_zone=zone.words) if assumed else point


def _without_doubles(points: Iterable[RecoveryPoint]) -> tuple[tuple[RecoveryPoint, ...], list[tuple[str, str]]]:
    """Two names of one instant are one point: the first in the order of names stands for both."""
    kept: dict[tuple[datetime, datetime], RecoveryPoint] = {}
    doubles = []
    for point in sorted(points, key=lambda each: (each.earliest, each.latest, each.name)):
        first = kept.setdefault((point.earliest, point.latest), point)
        if first is not point:
            doubles.append((visible(point.name), f"it names the same instant as {visible(first.name)}"))
    return tuple(kept.values()), doubles

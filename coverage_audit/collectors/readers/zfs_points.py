"""The snapshots of one ZFS dataset, dated by the pool itself.

`zfs list -Hp` prints one line a snapshot, its fields parted by tabs, times as seconds since 1970 (zfs-list(8)); where
that is too old to know `-p`, `zfs get -Hp` prints one line a property. The dataset itself is asked for too: an answer
that does not hold even that one is no answer, least of all "no snapshots".
"""

from __future__ import annotations

import re
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from functools import partial
from typing import Final

from coverage_audit.collectors.framing import fields
from coverage_audit.collectors.point_lists import Spans, apart, point, point_list, sifted
from coverage_audit.collectors.point_names import as_folder
from coverage_audit.collectors.requests import Request
from coverage_audit.collectors.stamps.local_time import NoPointError, Zone, instant
from coverage_audit.collectors.stamps.together import spans
from coverage_audit.collectors.transport import TransportError
from coverage_audit.estate.model import Address
from coverage_audit.evidence.facts import DatedBy, GapKind, PointList, RecoveryPoint
from coverage_audit.evidence.instants import EPOCH
from coverage_audit.evidence.visible import visible

_FIGURE: Final = re.compile(rb"[0-9]{1,20}")
_LAST: Final = 1 << 33  # seconds; beyond the year 2242
_FAR_APART: Final = timedelta(hours=2)


@dataclass(frozen=True, kw_only=True)
class _Snapshot:
    name: str
    created: int
    guid: str


def request(dataset: str, nonce: str) -> Request:
    """Return the request for the snapshots of a dataset (`pool/name`)."""
    return Request(verb="zfs", arguments=(dataset.encode(),), nonce=nonce)


def parse(  # noqa: PLR0913 - the names' zone and the moment are what a name is read by
    reply: bytes, exit_status: int | None, *, nonce: str, dataset: str, address: Address, zone: Zone, at: datetime
) -> PointList:
    """Read the snapshots into points, oldest first.

    Raises TransportError where zfs is not there, did not end well, or does not show the dataset itself.
    """
    values = fields(reply, exit_status, nonce)
    if values[:1] == (b"lacking",):
        raise TransportError(GapKind.NO_TOOL, "the box has no zfs command")
    if values[:1] == (b"failed",) and len(values) == 2:
        raise TransportError(GapKind.UNREADABLE, f"zfs does not show {dataset}: {visible(values[1])}")
    if len(values) != 3 or values[0] not in {b"list", b"get"}:
        raise TransportError(GapKind.MALFORMED, "the answer of zfs has no shape")
    rows = _listed(values[1], values[2]) if values[0] == b"list" else _gotten(values[1])
    wanted = dataset.encode()
    if wanted not in rows or b"guid" not in rows[wanted]:
        raise TransportError(GapKind.MALFORMED, f"zfs does not show the dataset {dataset} itself")
    whose = rows[wanted][b"guid"].decode("ascii", "replace")
    found = [_snapshot(name, row, dataset) for name, row in rows.items() if name.startswith(wanted + b"@")]
    meant = spans([each.name for each in found], None, zone)
    make = partial(_point, address=address, whose=whose, meant=meant, zone=zone, at=at)
    points, refused = sifted(found, make, lambda each: each.name)
    return point_list(address, at, points, refused)


def _listed(itself: bytes, snapshots: bytes) -> dict[bytes, dict[bytes, bytes]]:
    rows = {}
    for line in (*itself.split(b"\n"), *snapshots.split(b"\n")):
        parts = line.split(b"\t")
        if not line:
            continue
        if len(parts) != 4:
            raise TransportError(GapKind.MALFORMED, f"a line of zfs has no shape: {visible(line[:80])}")
        rows[parts[0]] = {b"creation": parts[1], b"guid": parts[2], b"used": parts[3]}
    return rows


def _gotten(text: bytes) -> dict[bytes, dict[bytes, bytes]]:
    rows: dict[bytes, dict[bytes, bytes]] = {}
    for line in filter(None, text.split(b"\n")):
        parts = line.split(b"\t")
        if len(parts) != 3:
            raise TransportError(GapKind.MALFORMED, f"a line of zfs has no shape: {visible(line[:80])}")
        rows.setdefault(parts[0], {})[parts[1]] = parts[2]
    return rows


def _snapshot(whole: bytes, row: dict[bytes, bytes], dataset: str) -> _Snapshot:
    name = whole.removeprefix(dataset.encode() + b"@")
    created, guid = row.get(b"creation", b""), row.get(b"guid", b"")
    if not _FIGURE.fullmatch(created) or not _FIGURE.fullmatch(guid) or int(created) > _LAST:
        raise TransportError(GapKind.MALFORMED, f"zfs tells no time of the snapshot {visible(name)}")
    return _Snapshot(name=name.decode("utf-8", "backslashreplace"), created=int(created), guid=guid.decode())


def _point(
    snapshot: _Snapshot, *, address: Address, whose: str, meant: Spans, zone: Zone, at: datetime
) -> RecoveryPoint:
    name = as_folder(snapshot.name) if address.has_point else snapshot.name
    created = EPOCH + timedelta(seconds=snapshot.created)
    made = point(name, instant(created), zone=zone, at=at, dated_by=DatedBy.FILESYSTEM)
    said = meant[snapshot.name]
    far = not isinstance(said, NoPointError) and apart(created, said) > _FAR_APART
    doubt = f"“{visible(name)}” says another time than the pool recorded, {created:%Y-%m-%dT%H:%M:%SZ}"
    identity = f"zfs {whose} {snapshot.guid}"
    return replace(made, identity=identity, doubts=(doubt,) if far else (), sealed=True)

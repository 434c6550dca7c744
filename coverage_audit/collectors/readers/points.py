"""The recovery points of a dated copy: folders or files whose names say an instant.

The folder that holds `{point}` is listed, NUL-ended and with `find`'s own exit status; the names are read by the
declared `strptime` pattern, or together by the usual spellings. A name that is no point is kept with the reason, never
dropped in silence. Of files, sizes and times are looked at besides: a file holds nothing newer than its last change.
"""

from __future__ import annotations

import os
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta
from functools import partial
from typing import Final

from coverage_audit.collectors.framing import fields
from coverage_audit.collectors.point_lists import Refused, Spans, point, point_list, sifted, told
from coverage_audit.collectors.point_names import folder_of, own_name
from coverage_audit.collectors.requests import Request
from coverage_audit.collectors.stamps.local_time import NoPointError, Zone
from coverage_audit.collectors.stamps.together import spans
from coverage_audit.collectors.transport import TransportError
from coverage_audit.estate.model import Address
from coverage_audit.evidence.collected import SecondLook
from coverage_audit.evidence.facts import GapKind, PointList, RecoveryPoint
from coverage_audit.evidence.instants import EPOCH
from coverage_audit.evidence.visible import visible

_ABSENT: Final = (b": No such file or directory", b": Not a directory")
_SETTLED: Final = timedelta(seconds=60)
_OLDEST_TIME: Final = datetime(1980, 1, 2, tzinfo=UTC)  # what is older says no time: 1970 and FAT's first day
_WELL_BEFORE: Final = timedelta(hours=2)


@dataclass(frozen=True, kw_only=True)
class Listing:
    """The names in the folder that holds `{point}`: those that may be points, and the others."""

    wanted: tuple[bytes, ...]
    others: tuple[bytes, ...]


def request(path: str, nonce: str, *, of_files: bool = False) -> Request:
    """Return the request for the names in the folder that holds `{point}`; `path` is absolute and has it."""
    return Request(verb="files" if of_files else "names", arguments=(os.fsencode(folder_of(path)),), nonce=nonce)


def listing(reply: bytes, exit_status: int | None, *, nonce: str, path: str, of_files: bool = False) -> Listing:
    """Read the names.

    Raises TransportError where the folder is missing, cannot be read, or the listing is not whole.
    """
    values, folder = fields(reply, exit_status, nonce), folder_of(path)
    if values[:1] == (b"refused",):
        why = values[1].strip()
        kind = GapKind.MISSING if why.endswith(_ABSENT) else GapKind.UNREADABLE
        raise TransportError(kind, f"{folder}: {visible(why.rpartition(b': ')[2])}")
    wanted, rest = _part(values, b"files" if of_files else b"folders", folder)
    others, _ = _part(rest, b"others", folder)
    return Listing(wanted=tuple(sorted(wanted)), others=tuple(sorted(others)))


def of_folders(found: Listing, *, address: Address, pattern: str | None, zone: Zone, at: datetime) -> PointList:
    """Read names of folders into points, oldest first; a point later than `at` is refused."""
    meant, named, strange = _named(found.wanted, address, pattern, zone)
    make = partial(_folder_point, meant=meant, zone=zone, at=at)
    points, refused = sifted(named, make, _itself)
    others = [(visible(name), "it is no folder") for name in found.others]
    return point_list(address, at, points, [*strange, *refused, *others])


def candidates(found: Listing, *, address: Address, pattern: str | None, zone: Zone) -> tuple[bytes, ...]:
    """Return the names of files whose size and times are to be looked at: those whose names say a time."""
    meant, named, _ = _named(found.wanted, address, pattern, zone)
    return tuple(raw for name, raw in named.items() if not isinstance(meant[name], NoPointError))


def of_files(
    found: Listing,
    looks: Sequence[SecondLook],
    *,
    address: Address,
    pattern: str | None,
    zone: Zone,
    at: datetime,
) -> PointList:
    """Read names of files, with their sizes and times, into points."""
    meant, named, strange = _named(found.wanted, address, pattern, zone)
    seen = {look.path: look for look in looks}
    make = partial(_file_point, named=named, seen=seen, meant=meant, zone=zone, at=at)
    points, refused = sifted(named, make, _itself)
    others = [(visible(name), "it is no file") for name in found.others]
    return point_list(address, at, points, [*strange, *refused, *others])


def _part(values: tuple[bytes, ...], name: bytes, folder: str) -> tuple[list[bytes], tuple[bytes, ...]]:
    if values[:1] != (name,):
        raise TransportError(GapKind.MALFORMED, f"{folder}: the listing has no {name.decode()}")
    at, names = 1, list[bytes]()
    while at < len(values) and values[at] != b"status":
        names.append(values[at].rpartition(b"/")[2])
        at += 1
    if at + 1 >= len(values) or values[at + 1] != b"ok":
        error = visible(values[at + 1]) if at + 1 < len(values) else "it has no end"
        raise TransportError(GapKind.UNREADABLE, f"{folder}: the listing is not whole: {error}")
    return names, values[at + 2 :]


def _named(
    raws: Iterable[bytes], address: Address, pattern: str | None, zone: Zone
) -> tuple[Spans, dict[str, bytes], list[Refused]]:
    named: dict[str, bytes] = {}
    strange: list[Refused] = []
    for raw in raws:
        try:
            named[own_name(raw, address.path)] = raw
        except NoPointError as why:
            strange.append((visible(raw), str(why)))
    return spans(named, pattern, zone), named, strange


def _itself(name: str) -> str:
    return name


def _folder_point(name: str, *, meant: Spans, zone: Zone, at: datetime) -> RecoveryPoint:
    return point(name, told(meant[name]), zone=zone, at=at)


def _file_point(
    name: str,
    *,
    named: Mapping[str, bytes],
    seen: Mapping[bytes, SecondLook],
    meant: Spans,
    zone: Zone,
    at: datetime,
) -> RecoveryPoint:
    span, look = told(meant[name]), seen.get(named[name])
    if look is None or look.size is None or look.mtime_ns is None:
        raise NoPointError("its size could not be seen")
    made = point(name, span, zone=zone, at=at, size=look.size)
    changed = EPOCH + timedelta(microseconds=min(look.mtime_ns // 1000, 1 << 52))
    if at - _SETTLED < changed <= at + _SETTLED:
        raise NoPointError("it was written to a moment ago: it may not be whole yet")
    if not _OLDEST_TIME < changed < made.earliest:
        return made
    early = f"“{visible(name)}” was last written to at {changed:%Y-%m-%dT%H:%M:%SZ}, before the time that its name says"
    doubts = (early,) if made.earliest - changed > _WELL_BEFORE else ()
    return replace(made, earliest=changed, latest=changed, doubts=doubts)

"""Recovery points that are btrfs snapshots, dated by the filesystem itself.

Each folder in the place of `{point}` is shown by `btrfs subvolume show`, in UTC. A snapshot counts when it is read-only
and its parent is the declared subvolume; a received one when it bears the mark of a finished receive (then its time of
creation is that of receiving, and its name says its own). Of several that bear one mark the first is the received one:
a snapshot made of it inherits the mark. Birth times are never read: on btrfs a snapshot's is that of
the subvolume it was made of. The command must show the declared subvolume (or the volume's own) as well: an answer that
does not is no answer. It needs privileges: without them there is a gap, never "no points".
"""

from __future__ import annotations

import os
import re
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta
from functools import partial
from typing import Final

from coverage_audit.collectors.framing import fields
from coverage_audit.collectors.point_lists import Refused, Spans, apart, point, point_list, sifted, told
from coverage_audit.collectors.point_names import folder_of, own_name
from coverage_audit.collectors.requests import Request
from coverage_audit.collectors.stamps.local_time import NoPointError, Zone, instant
from coverage_audit.collectors.stamps.together import spans
from coverage_audit.collectors.transport import TransportError
from coverage_audit.estate.model import Address
from coverage_audit.evidence.facts import DatedBy, GapKind, PointList, RecoveryPoint
from coverage_audit.evidence.visible import visible

_UUID: Final = rb"[0-9a-f]{8}(?:-[0-9a-f]{4}){3}-[0-9a-f]{12}"
_SHOWN: Final = re.compile(
    rb"\n\tUUID: \t+(?P<uuid>@)\n\tParent UUID: \t+(?P<parent>@|-)\n\tReceived UUID: \t+(?P<received>@|-)"
    rb"\n\tCreation time: \t+(?P<created>[0-9]{4}-[0-9]{2}-[0-9]{2} [0-9:]{8} [+-][0-9]{4})"
    rb"\n\tSubvolume ID: \t+(?P<number>[0-9]+)"
    rb"\n\tGeneration: \t+(?P<now>[0-9]+)\n\tGen at creation: \t+(?P<then>[0-9]+)"
    rb"\n\tParent ID: \t+[0-9]+\n\tTop level ID: \t+[0-9]+"
    rb"\n\tFlags: \t+(?P<flags>[^\n]*)"
    rb"(?:\n\tSend transid: [^\n]*\n\tSend time: [^\n]*\n\tReceive transid: [^\n]*"
    rb"\n\tReceive time: \t+(?P<came>[^\n]+))?"
    # The end is only looked at: it begins the next such block, should a name have forged this one.
    rb"(?=\n|\Z)".replace(b"@", _UUID)
)
_PRIVILEGES: Final = (b"not permitted", b"Permission denied", b"password is required")
_ABSENT: Final = (b": No such file or directory", b": Not a directory")
_NOT_ONE: Final = b"Not a Btrfs subvolume"
_FAR_APART: Final = timedelta(hours=2)
HOW_TO_ALLOW: Final = (
    "allow it with a line for sudo: “ACCOUNT ALL=(root) NOPASSWD: /usr/bin/btrfs subvolume show *” (visudo)"
)


@dataclass(frozen=True, kw_only=True)
class _Shown:
    """What `subvolume show` says of one subvolume. `came` is when it was received, `number` grows with each made."""

    number: int
    came: datetime
    uuid: bytes
    parent: bytes
    received: bytes
    created: datetime
    generation: int
    grown: bool
    read_only: bool


@dataclass(frozen=True, kw_only=True)
class _Folder:
    raw: bytes
    status: bytes
    text: bytes
    complaint: bytes


def request(path: str, known: str, nonce: str, *, received: bool) -> Request:
    """Return the request for the subvolumes in the place of `{point}` in `path`.

    `known` is the path of what must be shown besides: the subvolume that they are snapshots of, or (of received ones)
    the volume, of whose own subvolume that is asked.
    """
    control = (b"within" if received else b"exact", os.fsencode(known))
    return Request(verb="btrfs", arguments=(os.fsencode(folder_of(path)), *control), nonce=nonce)


def parse(  # noqa: PLR0913 - the names' zone and the moment are what a name is read by
    reply: bytes, exit_status: int | None, *, nonce: str, address: Address, received: bool, zone: Zone, at: datetime
) -> PointList:
    """Read the subvolumes into points, oldest first.

    Raises TransportError where btrfs is not there, may not be asked, or does not show what it must know.
    """
    values = fields(reply, exit_status, nonce)
    source, rest = _control(values)
    folders: dict[str, _Folder] = {}
    strange: list[Refused] = []
    for folder in _folders(rest):
        try:
            folders[own_name(folder.raw, address.path)] = folder
        except NoPointError as why:
            strange.append((visible(folder.raw), str(why)))
    make = partial(
        _point,
        folders=folders,
        source=None if received else source,
        firsts=_firsts(folders.values()),
        meant=spans(folders, None, zone),
        zone=zone,
        at=at,
    )
    points, refused = sifted(folders, make, lambda name: name)
    return point_list(address, at, points, [*strange, *refused])


def _control(values: tuple[bytes, ...]) -> tuple[_Shown, tuple[bytes, ...]]:
    if values[:1] == (b"lacking",):
        raise TransportError(GapKind.NO_TOOL, "the box has no btrfs command")
    if values[:1] == (b"refused",) and len(values) == 2:
        kind = GapKind.MISSING if values[1].strip().endswith(_ABSENT) else GapKind.UNREADABLE
        raise TransportError(kind, visible(values[1].strip()))
    if values[:1] != (b"control",) or len(values) < 4:
        raise TransportError(GapKind.MALFORMED, "the answer of btrfs has no shape")
    status, text, complaint = values[1:4]
    if status != b"0":
        raise TransportError(GapKind.UNREADABLE, _why(complaint))
    shown = _shown(text)
    if shown is None:
        raise TransportError(GapKind.MALFORMED, "btrfs shows its own subvolume in a form that is not known")
    return shown, values[4:]


def _why(complaint: bytes) -> str:
    said = visible(complaint.strip().splitlines()[0] if complaint.strip() else b"it said nothing")
    hint = f"; {HOW_TO_ALLOW}" if any(word in complaint for word in _PRIVILEGES) else ""
    return f"btrfs does not show the subvolume: {said}{hint}"


def _folders(values: tuple[bytes, ...]) -> Iterator[_Folder]:
    *shown, end, status = values if len(values) >= 2 else (b"", b"", b"")
    if end != b"status" or len(shown) % 4:
        raise TransportError(GapKind.MALFORMED, "the answer of btrfs has no end")
    if status != b"ok":
        raise TransportError(GapKind.UNREADABLE, f"the listing is not whole: {visible(status)}")
    for at in range(0, len(shown), 4):
        raw, code, text, complaint = shown[at : at + 4]
        yield _Folder(raw=raw.rpartition(b"/")[2], status=code, text=text, complaint=complaint)


def _shown(text: bytes) -> _Shown | None:
    """Read what is shown of one subvolume; None where it is not there, or there twice: a name may hold such lines."""
    found = list(_SHOWN.finditer(text))
    if len(found) != 1:
        return None
    (only,) = found
    created = _instant(only["created"])
    came = only["came"]
    return _Shown(
        number=int(only["number"]),
        came=_instant(came) if came is not None and came != b"-" else created,
        uuid=only["uuid"],
        parent=only["parent"],
        received=only["received"],
        created=created,
        generation=int(only["now"]),
        grown=int(only["now"]) > int(only["then"]),
        read_only=b"readonly" in only["flags"].replace(b",", b" ").split(),
    )


def _instant(text: bytes) -> datetime:
    try:
        return datetime.strptime(text.decode(), "%Y-%m-%d %H:%M:%S %z").astimezone(UTC)
    except ValueError:
        raise TransportError(GapKind.MALFORMED, f"btrfs tells a time that is none: {visible(text)}") from None


def _firsts(folders: Iterable[_Folder]) -> dict[bytes, int]:
    """Return for each mark of a finished receive the number of the first subvolume that bears it."""
    firsts: dict[bytes, int] = {}
    for folder in folders:
        shown = _shown(folder.text)
        if shown is not None:
            firsts[shown.received] = min(shown.number, firsts.get(shown.received, shown.number))
    return firsts


def _point(  # noqa: PLR0913 - what a subvolume is judged by
    name: str,
    *,
    folders: dict[str, _Folder],
    source: _Shown | None,
    firsts: dict[bytes, int],
    meant: Spans,
    zone: Zone,
    at: datetime,
) -> RecoveryPoint:
    folder = folders[name]
    if folder.status != b"0":
        plain = _NOT_ONE in folder.complaint
        raise NoPointError("it is a plain folder, no subvolume" if plain else _why(folder.complaint))
    shown = _shown(folder.text)
    if shown is None:
        raise NoPointError("what btrfs shows of it cannot be read for certain")
    if source is None and shown.received != b"-" and shown.number != firsts[shown.received]:
        raise NoPointError("it is a snapshot made of one that was received, and is counted with that one")
    made = _received(name, shown, meant, zone, at) if source is None else _local(name, shown, source, meant, zone, at)
    # Receiving itself writes to what it makes: of those only later audits can tell that they were written to.
    sealed = shown.read_only and not (source is not None and shown.grown)
    return replace(made, identity=f"btrfs {shown.uuid.decode()}", sealed=sealed, generation=shown.generation)


def _local(name: str, shown: _Shown, source: _Shown, meant: Spans, zone: Zone, at: datetime) -> RecoveryPoint:
    if shown.parent != source.uuid:
        raise NoPointError("it is no snapshot of the declared subvolume")
    if not shown.read_only:
        raise NoPointError("it is writable: what it holds may not be of its time")
    doubts = []
    if shown.grown:
        doubts.append(f"“{visible(name)}” was written to after it was made, or is itself the source of snapshots")
    said = meant[name]
    if not isinstance(said, NoPointError) and apart(shown.created, said) > _FAR_APART:
        recorded = f"{shown.created:%Y-%m-%dT%H:%M:%SZ}"
        doubts.append(f"“{visible(name)}” says another time than the filesystem recorded, {recorded}")
    made = point(name, instant(shown.created), zone=zone, at=at, dated_by=DatedBy.FILESYSTEM)
    return replace(made, doubts=tuple(doubts))


def _received(name: str, shown: _Shown, meant: Spans, zone: Zone, at: datetime) -> RecoveryPoint:
    if shown.received == b"-":
        raise NoPointError("it bears no mark of a finished receive: it may be half made, or was made writable since")
    if not shown.read_only:
        raise NoPointError("it is writable: it may be half made, or was changed since")
    span = told(meant[name])
    if span.earliest > shown.came:
        raise NoPointError(f"its name says a time after it was received, {shown.came:%Y-%m-%dT%H:%M:%SZ}")
    return point(name, span, zone=zone, at=at)

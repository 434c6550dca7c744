"""Recovery points that a command of the owner's tells: JSON with a JMESPath expression, or lines with a pattern.

The command is an argument list, never a shell's text, and must end with status 0. A selection that finds nothing is "no
points" only where the output shows by itself that there are none: JSON that was read, is not empty, and in which no
list has an element. Anything else that yields nothing may be a misspelt selection, and is a gap.
"""

from __future__ import annotations

import json
import re
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime, timedelta
from functools import partial
from typing import Final

import jmespath
from jmespath.exceptions import JMESPathError

from coverage_audit.collectors.framing import fields
from coverage_audit.collectors.point_lists import Refused, Spans, point, point_list, sifted, told
from coverage_audit.collectors.point_names import as_folder
from coverage_audit.collectors.requests import Request
from coverage_audit.collectors.stamps.local_time import NoPointError, Span, Zone, instant
from coverage_audit.collectors.stamps.together import spans
from coverage_audit.collectors.transport import TransportError
from coverage_audit.estate.model import Address
from coverage_audit.estate.sources import CommandPoints
from coverage_audit.evidence.facts import DatedBy, GapKind, PointList, RecoveryPoint
from coverage_audit.evidence.instants import EPOCH
from coverage_audit.evidence.visible import visible

LONGEST: Final = 16 << 20
"""Bytes of output that are read; more is a gap."""

_MILLISECONDS: Final = 10**11  # a figure above is no count of seconds (the year 5138), but of milliseconds
_FARTHEST: Final = 10**16  # of either; what is no number at all is not below it
_NOTHING: Final = "misspelt, or the command was asked wrongly"


@dataclass(frozen=True, kw_only=True)
class _Told:
    """One point as the command told it; a time that is a number counts from 1970."""

    time: str | float | None
    name: str
    size: object = None


def request(points: CommandPoints, nonce: str) -> Request:
    """Return the request that runs the command."""
    return Request(
        verb="run", arguments=tuple(word.encode("utf-8", "surrogateescape") for word in points.arguments), nonce=nonce
    )


def parse(  # noqa: PLR0913 - what a command's output is read by
    reply: bytes,
    exit_status: int | None,
    *,
    nonce: str,
    points: CommandPoints,
    address: Address,
    zone: Zone,
    at: datetime,
) -> PointList:
    """Read the command's output into points, oldest first.

    Raises TransportError where it is not there, did not end well, printed too much or what cannot be read, or where
    the selection finds nothing although there may be something.
    """
    output = _output(fields(reply, exit_status, nonce), points.arguments[0])
    try:
        text = output.decode("utf-8")
    except UnicodeDecodeError:
        raise TransportError(GapKind.MALFORMED, "what the command printed is no UTF-8") from None
    refused: list[Refused] = []
    if points.json is not None:
        found = list(_selected(text, points.json))
    else:
        found, refused = _matched(text, points.lines or "")
    meant = spans(dict.fromkeys(each.time for each in found if isinstance(each.time, str)), None, zone)
    make = partial(_point, address=address, meant=meant, zone=zone, at=at)
    made, none = sifted(found, make, lambda each: each.name)
    return point_list(address, at, made, [*refused, *none])


def _output(values: tuple[bytes, ...], command: str) -> bytes:
    if len(values) < 6 or values[0] != b"output" or values[-4] != b"complaint" or values[-2] != b"status":
        raise TransportError(GapKind.MALFORMED, "the answer to a command has no shape")
    output, complaint, status = b"\0".join(values[1:-4]), values[-3].strip(), values[-1]
    if status == b"127":
        raise TransportError(GapKind.NO_TOOL, f"{visible(command)} is not on the box")
    if status != b"0":
        said = f": {visible(complaint.splitlines()[-1][:200])}" if complaint else ""
        raise TransportError(GapKind.UNREADABLE, f"{visible(command)} ended with status {visible(status)}{said}")
    if len(output) > LONGEST:
        raise TransportError(GapKind.MALFORMED, f"the command printed more than {LONGEST >> 20} MiB")
    if not output.strip():
        raise TransportError(
            GapKind.MALFORMED, "the command printed nothing, which does not show that there are no points"
        )
    return output


def _selected(text: str, expression: str) -> Iterator[_Told]:
    try:
        document = json.loads(text)
        found = jmespath.search(expression, document)
    except (ValueError, RecursionError, JMESPathError) as error:
        why = str(error).splitlines()[0] if str(error) else type(error).__name__
        raise TransportError(GapKind.MALFORMED, f"the output cannot be read: {visible(why)}") from None
    if not isinstance(found, list):
        raise TransportError(GapKind.MALFORMED, f"`{visible(expression)}` selects no list: {_NOTHING}")
    if not found and not _shows_none(document):
        raise TransportError(GapKind.MALFORMED, f"`{visible(expression)}` selects nothing of what is there: {_NOTHING}")
    for each in found:
        parts = each if isinstance(each, dict) else {"time": each}
        time = parts.get("time")
        usable = time if isinstance(time, str) or _is_number(time) else None
        yield _Told(time=usable, name=str(parts.get("name", time)), size=parts.get("size"))


def _shows_none(document: object) -> bool:
    """Whether the output says by itself that there are no points: something was said, and no list has an element."""
    return isinstance(document, dict) and bool(document) and not _has_elements(document)


def _has_elements(value: object) -> bool:
    if isinstance(value, dict):
        return any(_has_elements(part) for part in value.values())
    return isinstance(value, list) and bool(value)


def _matched(text: str, pattern: str) -> tuple[list[_Told], list[Refused]]:
    lines = [line for line in text.splitlines() if line.strip()]
    found: list[_Told] = []
    refused: list[Refused] = []
    for line in lines:
        match = re.search(pattern, line)
        if match is None or match["time"] is None:
            refused.append((visible(line[:120]), "the line is no point"))
            continue
        parts = match.groupdict()
        found.append(_Told(time=parts["time"], name=parts.get("name") or parts["time"], size=parts.get("size")))
    if not found:
        raise TransportError(GapKind.MALFORMED, f"none of {len(lines)} lines matches `{visible(pattern)}`: {_NOTHING}")
    return found, refused


def _point(each: _Told, *, address: Address, meant: Spans, zone: Zone, at: datetime) -> RecoveryPoint:
    if each.time is None:
        raise NoPointError("it has no time")
    span = told(meant[each.time]) if isinstance(each.time, str) else _counted(each.time)
    name = as_folder(each.name) if address.has_point else each.name
    return point(name, span, zone=zone, at=at, dated_by=DatedBy.COMMAND, size=_size(each.size))


def _counted(figure: float) -> Span:
    try:
        seconds = figure / 1000 if abs(figure) > _MILLISECONDS else figure
        return instant(EPOCH + timedelta(seconds=seconds))
    except OverflowError:
        raise NoPointError("its time lies beyond the calendar") from None


def _size(told_size: object) -> int | None:
    if told_size is None:
        return None
    if isinstance(told_size, str) and re.fullmatch(r"[0-9]{1,18}", told_size):
        return int(told_size)
    if isinstance(told_size, int) and not isinstance(told_size, bool) and 0 <= told_size < 1 << 63:
        return told_size
    raise NoPointError("its size is no count of bytes")


def _is_number(value: object) -> bool:
    return isinstance(value, int | float) and not isinstance(value, bool) and abs(value) < _FARTHEST

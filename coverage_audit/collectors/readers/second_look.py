"""A second look at named paths: size, times and birth time, or that they are gone.

A request is one line of bounded length, so that many paths are asked for in several `batches`. Birth times are known
only where the box's stat tells them to the nanosecond.
"""

from __future__ import annotations

import os
import re
from collections.abc import Sequence
from datetime import UTC, datetime
from typing import Final

from coverage_audit.collectors.framing import fields
from coverage_audit.collectors.requests import Request
from coverage_audit.collectors.requests import batches as cut_to_fit
from coverage_audit.collectors.transport import TransportError
from coverage_audit.errors import CollectionError
from coverage_audit.evidence.collected import SecondLook
from coverage_audit.evidence.facts import GapKind
from coverage_audit.evidence.instants import EPOCH
from coverage_audit.evidence.visible import visible

MOST_PATHS: Final = 10_000
_FIGURES: Final = re.compile(rb"(\d+) (-?\d+\.\d{9}) (-?\d+\.\d{9})(?: (-?\d+\.\d{9}))?")
_DAYS: Final = re.compile(rb"(\d+) (DAY) (DAY)".replace(b"DAY", rb"-?\d+-\d\d-\d\d \d\d:\d\d:\d\d(?:\.\d{9})? \+0000"))
_DAY: Final = re.compile(rb"(\d{4})-(\d\d)-(\d\d) (\d\d):(\d\d):(\d\d)(?:\.(\d{9}))? \+0000")


def batches(root: str, paths: Sequence[bytes]) -> tuple[tuple[bytes, ...], ...]:
    """Cut the paths so that each batch makes one request. Raises CollectionError above MOST_PATHS."""
    if len(paths) > MOST_PATHS:
        raise CollectionError(f"{len(paths)} paths are too many for a second look; {MOST_PATHS} are the most")
    return cut_to_fit((os.fsencode(root),), tuple(paths))


def request(root: str, paths: Sequence[bytes], nonce: str) -> Request:
    """Return the request to look at `paths` (relative to `root`, one batch). NUL cannot be in a path."""
    return Request(verb="look", arguments=(os.fsencode(root), *paths), nonce=nonce)


def parse(
    reply: bytes, exit_status: int | None, *, nonce: str, root: str, paths: Sequence[bytes]
) -> tuple[SecondLook, ...]:
    """Read the answer of one batch, in the order of `paths`.

    A path is gone (all None) only where the box said so of that very path; a path that it could not look at
    is left out. Raises TransportError where the box could not be asked, or where the root is empty now and
    paths are gone: then its volume is gone, not the files.
    """
    values = fields(reply, exit_status, nonce)
    if values[:1] == (b"refused",):
        raise TransportError(GapKind.MISSING, f"{root}: {visible(values[1].strip().rpartition(b': ')[2])}")
    if values[:1] == (b"tool",):
        raise TransportError(GapKind.NO_TOOL, "the box has no stat that tells sizes and times")
    empty = values[:1] == (b"empty",)
    values = values[1:] if empty else values
    if values[:1] != (b"looks",) or len(values) % 3 != 1:
        raise TransportError(GapKind.MALFORMED, f"{root}: the answer to a second look has no shape")
    found: dict[bytes, SecondLook] = {}
    for at in range(1, len(values), 3):
        look = _look(*values[at : at + 3])
        if look is not None:
            found.setdefault(look.path, look)
    if empty and any(look.mtime_ns is None for look in found.values()):
        raise TransportError(GapKind.NOT_MOUNTED, f"{root}: it is empty now")
    return tuple(found[path] for path in paths if path in found)


def _look(state: bytes, name: bytes, figures: bytes) -> SecondLook | None:
    path = name.removeprefix(b"./")
    if state == b"gone":
        return SecondLook(path=path, size=None, mtime_ns=None, ctime_ns=None, birth_ns=None)
    if state == b"hidden":
        return None
    told = _told(figures)
    if state != b"seen" or told is None:
        raise TransportError(GapKind.MALFORMED, f"a second look at {visible(path)} has no shape")
    size, mtime, ctime, birth = told
    return SecondLook(path=path, size=size, mtime_ns=mtime, ctime_ns=ctime, birth_ns=birth)


def _told(figures: bytes) -> tuple[int, int, int, int | None] | None:
    """Read size, mtime, ctime and birth time in ns; None where they have no shape."""
    shape = _FIGURES.fullmatch(figures)
    if shape:
        size, mtime, ctime, birth = shape.groups()
        born = _nanoseconds(birth) if birth else 0
        # stat prints 0 where the filesystem keeps none
        return int(size), _nanoseconds(mtime), _nanoseconds(ctime), born if born > 0 else None
    days = _DAYS.fullmatch(figures)
    if not days:
        return None
    mtime_ns, ctime_ns = _instant(days.group(2)), _instant(days.group(3))
    return None if mtime_ns is None or ctime_ns is None else (int(days.group(1)), mtime_ns, ctime_ns, None)


def _nanoseconds(text: bytes) -> int:
    return int(text.replace(b".", b""))  # nine decimals of a signed decimal number


def _instant(text: bytes) -> int | None:
    """Read a day and a time of UTC as ns since 1970; None for a day that the calendar has not."""
    found = _DAY.fullmatch(text)
    if not found:
        return None
    try:
        year, month, day, hour, minute, second = map(int, found.groups()[:6])
        whole = datetime(year, month, day, hour, minute, second, tzinfo=UTC) - EPOCH
    except ValueError:
        return None
    return (whole.days * 86_400 + whole.seconds) * 10**9 + int(found.group(7) or 0)

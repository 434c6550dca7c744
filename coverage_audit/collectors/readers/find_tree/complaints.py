"""What find says on standard error, line by line: each line must be understood and bear a path.

In the C locale a line is `find: 'PATH': REASON`, the path quoted and escaped as in C (older versions open the quote
with a grave accent), so no name can forge a line.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Final

from coverage_audit.collectors.complaining import BLINDING, GONE
from coverage_audit.collectors.transport import TransportError
from coverage_audit.collectors.walked import ANOTHER_FILESYSTEM
from coverage_audit.evidence.facts import GapKind
from coverage_audit.evidence.manifest import Blind
from coverage_audit.evidence.visible import visible

_LINE: Final = re.compile(rb"find: [`']((?:[^'\\]|\\.)*)': (.+)\Z", re.DOTALL)
_LOOP: Final = re.compile(rb"find: File system loop detected; [`']((?:[^'\\]|\\.)*)' is part of ", re.DOTALL)
_ESCAPE: Final = re.compile(rb"\\([0-7]{3}|.)", re.DOTALL)
_LETTERS: Final = {b"a": b"\a", b"b": b"\b", b"f": b"\f", b"n": b"\n", b"r": b"\r", b"t": b"\t", b"v": b"\v"}


@dataclass(frozen=True, kw_only=True)
class Complaints:
    """All of them, understood: blind places, paths that were gone (b"" is the root itself)."""

    blind: tuple[Blind, ...]
    gone: tuple[bytes, ...]


def complaints(lines: bytes, start: bytes) -> Complaints:
    """Read what find said about the tree that starts at `start`. Raises TransportError for what is not understood."""
    blind: list[Blind] = []
    gone: list[bytes] = []
    for line in lines.split(b"\n"):
        _take(line, start, blind, gone)
    return Complaints(blind=tuple(blind), gone=tuple(gone))


def _take(line: bytes, start: bytes, blind: list[Blind], gone: list[bytes]) -> None:
    if not line:
        return
    loop = _LOOP.match(line)
    if loop is not None:
        blind.append(Blind(path=_below(loop.group(1), start, line), why=ANOTHER_FILESYSTEM))
        return
    said = _LINE.match(line)
    if said is None:
        raise _not_understood(line)
    path, reason = _below(said.group(1), start, line), said.group(2)
    if reason == GONE:
        gone.append(path)
    elif reason in BLINDING:
        blind.append(Blind(path=path, why=BLINDING[reason]))
    else:
        raise _not_understood(line)


def _below(escaped: bytes, start: bytes, line: bytes) -> bytes:
    path = _ESCAPE.sub(_unescaped, escaped)
    if not path.startswith(start):
        raise _not_understood(line)
    return path[len(start) :]


def _unescaped(found: re.Match[bytes]) -> bytes:
    said = found.group(1)
    if len(said) == 3:
        return bytes([int(said, 8) & 0xFF])
    return _LETTERS.get(said, said)


def _not_understood(line: bytes) -> TransportError:
    return TransportError(GapKind.MALFORMED, f"find complained in a way that is not understood: {visible(line[:200])}")

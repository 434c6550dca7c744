"""What find and stat say on standard error where neither is GNU's: paths are printed raw, with newlines in them.

BusyBox says `find: ././x: REASON` and `stat: can't stat '././x': REASON`. FreeBSD says `find: ././x: REASON` and
`stat: ././x: stat: REASON` (from stat.c's `warn("%s: stat", file)`; older ones say `lstat`). A complaint begins where
a line does, with the mark that no name can hold, and ends where the next begins; so no name can forge one. The root
alone is named without the mark, which a name could forge: but a complaint of the root ends every walk.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Final

from coverage_audit.collectors.complaining import BLINDING, GONE
from coverage_audit.collectors.transport import TransportError
from coverage_audit.evidence.facts import GapKind
from coverage_audit.evidence.manifest import Blind
from coverage_audit.evidence.visible import visible

MARK: Final = b"././"
_BEGIN: Final = re.compile(rb"^(find|stat): (can't stat '|cannot statx? ')?\./\.(?=[/:'])", re.MULTILINE)
_OF_BSD: Final = re.compile(rb": l?stat\Z")


@dataclass(frozen=True, kw_only=True)
class Complaints:
    """All of them, understood: blind places (b"" is the root), how many paths were gone, and the count by program."""

    blind: tuple[Blind, ...]
    gone: int
    by_find: int
    by_stat: int


def complaints(lines: bytes) -> Complaints:
    """Read what was said. Raises TransportError for what is not understood."""
    begins = list(_BEGIN.finditer(lines))
    if lines[: begins[0].start()] if begins else lines:
        raise _not_understood(lines)
    ends = [*(begin.start() for begin in begins[1:]), len(lines)][: len(begins)]
    blind: list[Blind] = []
    by_stat = gone = 0
    for begin, end in zip(begins, ends, strict=True):
        path, reason = _parts(begin, lines[begin.end() : end])
        by_stat += begin.group(1) == b"stat"
        if reason == GONE:
            gone += 1
        else:
            blind.append(Blind(path=path, why=BLINDING[reason]))
    return Complaints(blind=tuple(blind), gone=gone, by_find=len(begins) - by_stat, by_stat=by_stat)


def _parts(begin: re.Match[bytes], rest: bytes) -> tuple[bytes, bytes]:
    said, _, reason = rest.removesuffix(b"\n").rpartition(b": ")
    if not rest.endswith(b"\n") or (reason != GONE and reason not in BLINDING):
        raise _not_understood(begin.group() + rest)
    if begin.group(2):
        if not said.endswith(b"'"):
            raise _not_understood(begin.group() + rest)
        said = said[:-1]
    elif begin.group(1) == b"stat":
        said = _OF_BSD.sub(b"", said)
    if said and not said.startswith(b"/"):
        raise _not_understood(begin.group() + rest)
    return said.lstrip(b"/"), reason


def _not_understood(lines: bytes) -> TransportError:
    return TransportError(
        GapKind.MALFORMED, f"find or stat complained in a way that is not understood: {visible(lines[:200])}"
    )

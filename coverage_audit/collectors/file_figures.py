"""What the gate tells of a file that it reads: in which state it was, its size and its times before and after."""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Final

from coverage_audit.evidence.content import Wanted
from coverage_audit.evidence.instants import SECOND_NS

GONE: Final = "it was gone"
NO_FILE: Final = "it is no file any more"
NOTHING_TOLD: Final = "the box told nothing of it"

_WHY: Final = {b"gone": GONE, b"changed": NO_FILE, b"unreadable": "it could not be read"}
_SHAPE: Final = re.compile(rb"(\d+) (-?\d+) ([0-9:.+ -]+?)(?: / (-?\d+) ([0-9:.+ -]+?)(?: / .*)?)?")
_FRACTION: Final = re.compile(rb"\.([0-9]{9})(?![0-9])")


@dataclass(frozen=True, kw_only=True)
class FileFigures:
    """A file's size in bytes and its times, in ns where the box shows fractions (None: it shows whole seconds).

    `ctime_ns` is when its entry was changed last; a gate of an earlier version does not tell it (None).
    """

    size: int
    mtime: int
    mtime_fraction: int | None
    ctime_ns: int | None

    def are_of(self, wanted: Wanted) -> bool:
        """Whether they are those of the file as it was listed, be it in a listing by whole seconds."""
        seconds, fraction = divmod(wanted.mtime_ns, SECOND_NS)
        if (self.size, self.mtime) != (wanted.size, seconds):
            return False
        return self.mtime_fraction is None or fraction in {0, self.mtime_fraction}


def file_figures(told: bytes) -> FileFigures | None:
    """Read `size seconds time / seconds time [/ inode]`, of the mtime and the ctime (None: that is not what it is)."""
    shape = _SHAPE.fullmatch(told)
    if shape is None:
        return None
    return FileFigures(
        size=int(shape[1]),
        mtime=int(shape[2]),
        mtime_fraction=_fraction(shape[3]),
        ctime_ns=None if shape[4] is None else int(shape[4]) * SECOND_NS + (_fraction(shape[5]) or 0),
    )


def why_not_read(state: bytes) -> str:
    """Say why a file in a state other than `ok` was not read."""
    return _WHY.get(state, NOTHING_TOLD)


def _fraction(time: bytes) -> int | None:
    shown = _FRACTION.search(time)
    return None if shown is None else int(shown[1])

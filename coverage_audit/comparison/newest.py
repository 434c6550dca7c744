"""The newest file that a copy holds: by its mtime, and by when it was surely there already.

A file that arrives today may bear an mtime of next week; it cannot have arrived after its ctime. So the least of both
is an instant at which it was surely not older, and what a copy holds of it is that new.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
import pyarrow.compute as pc

from coverage_audit.comparison.side import FILE, Limits, Side, read_more, read_side
from coverage_audit.evidence.store import Group, RowReader
from coverage_audit.evidence.store.columns import integers, single


class Newest:
    """Follows the newest of all files that are held, those with a time after `last_ns` (implausible) left aside."""

    def __init__(self, reader: RowReader, last_ns: int) -> None:
        self._reader = reader
        self._last = last_ns
        self.mtime_ns: int | None = None
        self.arrival_ns: int | None = None

    def see(self, side: Side, held: Any) -> None:
        """Take the rows of the original's side that are held (a mask)."""
        times = np.where(held & (side.kind == FILE) & (side.mtime_ns <= self._last), side.mtime_ns, -1)
        newest = int(times.argmax()) if len(times) else -1
        if newest < 0 or times[newest] < 0:
            return
        self.mtime_ns = _later(self.mtime_ns, int(times[newest]))
        if self.arrival_ns is None or times[newest] > self.arrival_ns:
            self._arrived(side, np.array([newest]))  # as a rule its ctime is later: then no other can have come later
            self._arrived(side, np.flatnonzero(times > (self.arrival_ns or 0)))

    def see_groups(self, equal: Sequence[int]) -> None:
        """Take whole groups that are held, reading only those that could hold the newest."""
        for number in sorted(equal, key=lambda number: _newest_of(self._reader.groups[number]), reverse=True):
            if self.arrival_ns is not None and _newest_of(self._reader.groups[number]) <= self.arrival_ns:
                return
            side, _ = read_side(self._reader, (number,), Limits())
            self.see(side, np.ones(len(side), dtype=bool))

    def _arrived(self, side: Side, rows: Any) -> None:
        if not len(rows):
            return
        ctimes = single(read_more(self._reader, side, rows, ["ctime_ns"])["ctime_ns"])
        shown = ctimes.is_valid().to_numpy(zero_copy_only=False)
        times = side.mtime_ns[rows]
        least = np.where(shown, np.minimum(times, integers(pc.fill_null(ctimes, 0))), times)
        self.arrival_ns = _later(self.arrival_ns, int(least.max()))


def _newest_of(group: Group) -> int:
    return -1 if group.newest_mtime_ns is None else group.newest_mtime_ns


def _later(one: int | None, other: int) -> int:
    return other if one is None else max(one, other)

"""The newest file that a copy holds: by its mtime, and by when it was surely there already.

A file that arrives today may bear an mtime of next week; it cannot have arrived after its ctime. So the least of both
is an instant at which it was surely not older, and what a copy holds of it is that new.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np

from coverage_audit.comparison.side import FILE, Limits, Side, Tree
from coverage_audit.evidence.store import Group
from coverage_audit.evidence.store.columns import integers


class Newest:
    """Follows the newest of all files that are held, those with a time after `last_ns` (implausible) left aside."""

    def __init__(self, tree: Tree, last_ns: int) -> None:
        self._tree = tree
        self._last = last_ns
        self.mtime_ns: int | None = None
        self.arrival_ns: int | None = None

    def see(self, side: Side, held: Any) -> None:
        """Take the rows of the original's side that are held (a mask)."""
        if not len(side) or int(side.mtime_ns.max()) <= self._surely:
            return
        dated = held & (side.kind == FILE) & (side.mtime_ns <= self._last) & (side.mtime_ns > self._surely)
        times = np.where(dated, side.mtime_ns, -1)
        newest = int(times.argmax())
        if not dated[newest]:
            return
        self.mtime_ns = max(self.mtime_ns or 0, int(times[newest]))
        self._arrived(side, np.array([newest]))
        if self._surely < times[newest]:  # its ctime is earlier, against the rule: another may have come later
            self._arrived(side, np.flatnonzero(dated))

    def take(self, mtime_ns: int | None, arrival_ns: int | None) -> None:
        """Take the newest of files that are held and were not among those seen (None: there are none)."""
        if mtime_ns is not None:
            self.mtime_ns = max(self.mtime_ns or 0, mtime_ns)
        if arrival_ns is not None:
            self.arrival_ns = max(self._surely, arrival_ns)

    def see_groups(self, equal: Sequence[int]) -> None:
        """Take whole groups that are held, reading only those that could hold the newest."""
        for number in sorted(equal, key=lambda number: _newest_of(self._tree.groups[number]), reverse=True):
            if _newest_of(self._tree.groups[number]) <= self._surely:
                return
            side, _ = self._tree.read((number,), Limits())
            self.see(side, np.ones(len(side), dtype=bool))

    @property
    def _surely(self) -> int:
        return -1 if self.arrival_ns is None else self.arrival_ns

    def _arrived(self, side: Side, rows: Any) -> None:
        ctimes = self._tree.late(side.place[rows], "ctime_ns")
        shown = ctimes.is_valid().to_numpy(zero_copy_only=False)
        times = side.mtime_ns[rows]
        least = np.where(shown, np.minimum(times, integers(ctimes)), times)
        self.arrival_ns = max(int(least.max()), self._surely)


def _newest_of(group: Group) -> int:
    return -1 if group.newest_mtime_ns is None else group.newest_mtime_ns

"""Cutting rows into groups by their content, and summing each group up."""

from __future__ import annotations

import hashlib
from typing import Any

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from coverage_audit.evidence.store.columns import integers, octets_of, shown
from coverage_audit.evidence.store.counting import hollow_files
from coverage_audit.evidence.store.layout import CUT_EVERY, LEAST_ROWS, MOST_ROWS, Group

_COMPARED = ("path", "kind", "size", "mtime_ns", "target")


class Cutter:
    """Takes tables of rows in tree order, hands back whole groups as soon as their end is certain."""

    def __init__(self) -> None:
        self._waiting: list[Any] = []
        self._rows = 0

    def push(self, rows: Any) -> list[Any]:
        """Take more rows; return the groups that they complete."""
        self._waiting.append(rows)
        self._rows += len(rows)
        may_end = self._rows > MOST_ROWS or len(_marks(integers(rows["key_lo"])))
        if self._rows <= LEAST_ROWS or not may_end:
            return []
        joined = pa.concat_tables(self._waiting)
        ends = cuts(integers(joined["key_lo"]))
        starts = [0, *ends]
        self._waiting = [joined.slice(starts[-1])]
        self._rows -= starts[-1]
        return [joined.slice(start, end - start) for start, end in zip(starts, ends, strict=False)]

    def rest(self) -> list[Any]:
        """Return the last group, where there is one."""
        joined = pa.concat_tables(self._waiting) if self._waiting else None
        self._waiting = []
        return [joined] if joined is not None and len(joined) else []


def cuts(key_lo: Any) -> list[int]:
    """Return where groups end among keys whose first row begins a group. What follows the last end is undecided."""
    marks = _marks(key_lo)
    ends: list[int] = []
    start = 0
    while True:
        place = int(np.searchsorted(marks, start + LEAST_ROWS))
        end = int(marks[place]) if place < len(marks) else len(key_lo)
        if end - start > MOST_ROWS:
            end = start + MOST_ROWS
        elif place == len(marks):
            return ends
        ends.append(end)
        start = end


def _marks(key_lo: Any) -> Any:
    return np.flatnonzero(key_lo % np.uint64(CUT_EVERY) == 0)


def group_of(rows: Any, odd_after_ns: int) -> Group:
    """Sum up the rows of one group (at least one; contiguous columns)."""
    kinds = np.frombuffer(octets_of(rows["kind"]), np.uint8)
    plain = kinds == ord("f")
    mtimes = integers(rows["mtime_ns"])[plain]
    mtimes = mtimes[(mtimes >= 0) & (mtimes <= odd_after_ns)]
    return Group(
        first=rows["path"][0].as_py(),
        rows=len(rows),
        files=int(np.count_nonzero(kinds != ord("d"))),
        bytes=int(integers(rows["size"])[plain].sum()),
        digest=_digest(rows, _COMPARED if rows["digest"].null_count == len(rows) else (*_COMPARED, "digest")),
        ctimes_digest=_digest(rows, ("ctime_ns",)),
        newest_mtime_ns=int(mtimes.max()) if len(mtimes) else None,
        hollow=int(np.count_nonzero(hollow_files(rows, plain))),
        digested=int(np.count_nonzero(shown(rows["digest"]) & plain)),
    )


def _digest(rows: Any, names: tuple[str, ...]) -> bytes:
    """SHA-256 over the columns one after the other: which are null, how long each value is, then the values."""
    total = hashlib.sha256()
    for name in names:
        column = rows[name].combine_chunks() if isinstance(rows[name], pa.ChunkedArray) else rows[name]
        if column.null_count:
            total.update(np.flatnonzero(column.is_null().to_numpy(zero_copy_only=False)).astype("<i8").tobytes())
        if pa.types.is_int64(column.type):
            total.update(integers(column))
        else:
            total.update(pc.fill_null(pc.binary_length(column), 0).to_numpy().astype("<i4"))
            total.update(octets_of(column))
    return total.digest()

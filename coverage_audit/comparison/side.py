"""One side's rows in one window: the columns that every comparison needs now, the others when they are asked for."""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import pyarrow as pa

from coverage_audit.evidence.order import tree_key
from coverage_audit.evidence.store import RowReader
from coverage_audit.evidence.store.columns import integers, octets_of, single

NUMBERS = ("key_hi", "key_lo", "size", "mtime_ns")
FILE, FOLDER, LINK = ord("f"), ord("d"), ord("l")


@dataclass(frozen=True, kw_only=True)
class Side:
    """All rows of a window that one side has, as numpy columns (`target` as an Arrow array).

    `kind` is the letter's code. Row number `i` is the row at place `first + i` among the rows of `groups`.
    """

    groups: tuple[int, ...]
    starts: Any  # place at which each of the groups begins, and the end of the last
    first: int
    key_hi: Any
    key_lo: Any
    kind: Any
    size: Any
    mtime_ns: Any
    target: Any

    def __len__(self) -> int:
        """How many rows."""
        return len(self.kind)


@dataclass(frozen=True, kw_only=True)
class Limits:
    """The paths that belong to a window, in tree order: from `low` on, before `high`; None: no limit."""

    low: bytes | None = None
    high: bytes | None = None


def read_side(reader: RowReader, groups: tuple[int, ...], limits: Limits, also: Sequence[str] = ()) -> tuple[Side, Any]:
    """Read the rows of `groups` within the limits; return them, and a table of the columns `also`."""
    table = reader.read(groups, [*NUMBERS, "kind", "target", *also])
    sizes = [reader.groups[number].rows for number in groups]
    starts = np.concatenate([[0], np.cumsum(sizes, dtype=np.int64)])
    first, stop = _within(reader, groups, starts, limits)
    table = table.slice(first, stop - first)
    side = Side(
        groups=groups,
        starts=starts,
        first=first,
        kind=np.frombuffer(octets_of(table["kind"]), np.uint8),
        target=single(table["target"]),
        **{name: integers(table[name]) for name in NUMBERS},
    )
    return side, table.select(list(also))


def read_more(reader: RowReader, side: Side, rows: Any, columns: Sequence[str]) -> Any:
    """Return a table of `columns` for some of the side's rows (numbers), reading only the groups that hold them."""
    places = rows + side.first
    holders = np.searchsorted(side.starts, places, side="right") - 1
    needed, slot = np.unique(holders, return_inverse=True)
    table = reader.read([side.groups[number] for number in needed], columns)
    sizes = (side.starts[1:] - side.starts[:-1])[needed]
    begins = np.cumsum(sizes) - sizes
    return table.take(pa.array(begins[slot] + places - side.starts[holders]))


def _within(reader: RowReader, groups: tuple[int, ...], starts: Any, limits: Limits) -> tuple[int, int]:
    if not groups:
        return 0, 0
    first, stop = 0, int(starts[-1])
    low, high = limits.low, limits.high
    if low is not None and tree_key(reader.groups[groups[0]].first) < tree_key(low):
        first = _rows_before(reader, groups[0], low)
    following = groups[-1] + 1
    ends_before = following < len(reader.groups) and tree_key(reader.groups[following].first) <= tree_key(high or b"")
    if high is not None and not ends_before:
        stop = int(starts[-2]) + _rows_before(reader, groups[-1], high)
    return first, stop


def _rows_before(reader: RowReader, group: int, limit: bytes) -> int:
    """Return how many rows of a group lie before a path, in tree order."""
    paths = single(reader.read([group], ["path"])["path"])
    return bisect_left(range(len(paths)), tree_key(limit), key=lambda row: tree_key(paths[row].as_py()))

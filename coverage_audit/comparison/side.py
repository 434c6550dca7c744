"""One side's rows in one window: the columns that every comparison needs now, the others when they are asked for."""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import pyarrow as pa

from coverage_audit.evidence.order import tree_key
from coverage_audit.evidence.store import RowReader
from coverage_audit.evidence.store.columns import integers, single

NUMBERS = ("key_hi", "key_lo", "size", "mtime_ns")
FILE, FOLDER, LINK = ord("f"), ord("d"), ord("l")
NO_TARGETS = pa.nulls(0, pa.binary())


@dataclass(frozen=True, kw_only=True)
class Side:
    """All rows of a window that one side has, as numpy columns.

    `kind` is the letter's code. Row number `i` is the row at place `first + i` among the rows of `groups`. `target` is
    an Arrow array over `links`, the numbers of the rows that are links.
    """

    groups: tuple[int, ...]
    starts: Any  # place at which each of the groups begins, and the end of the last
    first: int
    key_hi: Any
    key_lo: Any
    kind: Any
    size: Any
    mtime_ns: Any
    links: Any
    target: Any

    def targets(self, rows: Any) -> Any:
        """Return the targets of some rows (numbers) as an Arrow array; null for what is no link."""
        place = np.searchsorted(self.links, rows)
        place[place == len(self.links)] = 0
        known = self.links[place] == rows if len(self.links) else np.zeros(len(rows), dtype=bool)
        return self.target.take(pa.array(place, mask=~known))

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
    table = reader.read(groups, [*NUMBERS, "kind", *also])
    sizes = [reader.groups[number].rows for number in groups]
    starts = np.concatenate([[0], np.cumsum(sizes, dtype=np.int64)])
    first, stop = _within(reader, groups, starts, limits)
    table = table.slice(first, stop - first)
    kind = letter_codes(table["kind"])
    side = Side(
        groups=groups,
        starts=starts,
        first=first,
        kind=kind,
        links=np.flatnonzero(kind == LINK),
        target=NO_TARGETS,
        **{name: integers(table[name]) for name in NUMBERS},
    )
    if len(side.links):
        side = replace(side, target=single(read_more(reader, side, side.links, ["target"])["target"]))
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


def letter_codes(kinds: Any) -> Any:
    """Return the letter codes of a column of kinds that comes as a dictionary, each chunk with its own."""
    codes = [np.empty(0, dtype=np.uint8)]
    for chunk in kinds.chunks:
        letters = np.array([ord(letter) for letter in chunk.dictionary.to_pylist()], dtype=np.uint8)
        codes.append(letters[chunk.indices.to_numpy(zero_copy_only=False)])
    return np.concatenate(codes)


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

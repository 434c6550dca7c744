"""One side's rows of a window: the columns that every comparison needs now, the others when they are asked for."""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import pyarrow as pa

from coverage_audit.evidence.order import tree_key
from coverage_audit.evidence.store import Group, RowReader
from coverage_audit.evidence.store.columns import integers, single
from coverage_audit.evidence.store.counting import hollow_files

NUMBERS = ("key_hi", "key_lo", "size", "mtime_ns")
FILE, FOLDER, LINK = ord("f"), ord("d"), ord("l")
PACKING = frozenset({"zfs", "bcachefs", "f2fs", "ntfs", "ntfs3", "fuseblk"})
"""Filesystems that count what a file takes up once it is compressed: only one that takes up nothing is hollow there."""
GROUPS_AT_ONCE = 16
"""Groups of which a late column is read at a time: of a column of paths no more than that is ever in memory."""


@dataclass(frozen=True, kw_only=True)
class Side:
    """Rows of one side, as numpy columns: `place` is each row's number in its manifest, `kind` the letter's code.

    `target` and `digest` are Arrow arrays, null for what is no link and where no digest is compared. `hollow` is 1
    for files that take up far less than their size and 2 for those that take up nothing, where that was asked for.
    """

    place: Any
    key_hi: Any
    key_lo: Any
    kind: Any
    size: Any
    mtime_ns: Any
    target: Any
    digest: Any
    hollow: Any

    def __len__(self) -> int:
        """How many rows."""
        return len(self.place)

    def only(self, rows: Any) -> Side:
        """Return some of the rows (numbers)."""
        columns = {name: getattr(self, name)[rows] for name in ("place", "kind", "hollow", *NUMBERS)}
        numbers = pa.array(rows)
        return Side(target=self.target.take(numbers), digest=self.digest.take(numbers), **columns)


@dataclass(frozen=True, kw_only=True)
class Limits:
    """The paths that belong to a window, in tree order: from `low` on, before `high`; None: no limit."""

    low: bytes | None = None
    high: bytes | None = None


@dataclass(frozen=True, kw_only=True)
class Besides:
    """Which columns are read besides those that every comparison needs."""

    digests: bool = False
    hollow: bool = False


class Tree:
    """One manifest as it is read here. For one thread: `twin` makes another."""

    def __init__(self, reader: RowReader, besides: Besides | None = None) -> None:
        self._reader = reader
        self._besides = besides or Besides()
        self._starts = np.cumsum([0, *(group.rows for group in reader.groups)], dtype=np.int64)

    @property
    def groups(self) -> tuple[Group, ...]:
        """What the manifest says of its groups."""
        return self._reader.groups

    def read(self, groups: Sequence[int], limits: Limits, also: Sequence[str] = ()) -> tuple[Side, Any]:
        """Read the rows of `groups` within the limits; return them, and a table of the columns `also`."""
        besides = [*(["digest"] if self._besides.digests else []), *(["blocks"] if self._besides.hollow else [])]
        table = self._reader.read(groups, [*NUMBERS, "kind", *besides, *also])
        places = [np.arange(self._starts[number], self._starts[number + 1]) for number in groups]
        first, stop = self._within(groups, len(table), limits)
        table = table.slice(first, stop - first)
        place = _joined(places, np.int64)[first:stop]
        kind = letter_codes(table["kind"])
        columns = {name: integers(table[name]) for name in NUMBERS}
        side = Side(
            place=place,
            kind=kind,
            target=self._targets(place, kind),
            digest=single(table["digest"]) if self._besides.digests else pa.nulls(len(table), pa.binary()),
            hollow=self._hollow(table, kind) if self._besides.hollow else np.zeros(len(table), dtype=np.uint8),
            **columns,
        )
        return side, table.select(list(also))

    def late(self, places: Any, column: str) -> Any:
        """Return a column of some rows (places, in any order) as an Arrow array, out of the groups that hold them."""
        order = np.argsort(places, kind="stable")
        wanted = places[order]
        holder = np.searchsorted(self._starts, wanted, side="right") - 1
        needed = np.unique(holder)
        parts = [pa.nulls(0, self._reader.read([], [column])[column].type)]
        for start in range(0, len(needed), GROUPS_AT_ONCE):
            chosen = needed[start : start + GROUPS_AT_ONCE]
            first, stop = np.searchsorted(holder, [chosen[0], chosen[-1] + 1])
            parts.append(self._picked(column, chosen, wanted[first:stop], holder[first:stop]))
        return pa.concat_arrays(parts).take(pa.array(np.argsort(order, kind="stable")))

    def count_files(self, groups: Sequence[int]) -> int:
        """Count the regular files in some groups."""
        kinds = (letter_codes(self._reader.read([number], ["kind"])["kind"]) for number in groups)
        return sum(int((codes == FILE).sum()) for codes in kinds)

    def _picked(self, column: str, groups: Any, places: Any, holder: Any) -> Any:
        found = self._reader.read(groups.tolist(), [column])[column]
        rows = self._starts[groups + 1] - self._starts[groups]
        begins = np.cumsum(rows) - rows
        wanted = places - self._starts[holder] + begins[np.searchsorted(groups, holder)]
        parts, start = [], 0
        for chunk in found.chunks:  # one by one: joining them would copy all for the sake of a few
            first, stop = np.searchsorted(wanted, [start, start + len(chunk)])
            parts.append(chunk.take(pa.array(wanted[first:stop] - start)))
            start += len(chunk)
        return pa.concat_arrays(parts)

    def _targets(self, place: Any, kind: Any) -> Any:
        links = kind == LINK
        if not links.any():
            return pa.nulls(len(place), pa.binary())
        return self.late(place[links], "target").take(pa.array(np.cumsum(links) - 1, mask=~links))

    def _hollow(self, table: Any, kind: Any) -> Any:
        hollow = hollow_files(table, kind == FILE)
        void = hollow & (integers(table["blocks"]) <= 1)
        if self._reader.footer.origin.filesystem_type in PACKING:
            hollow = void
        return hollow.astype(np.uint8) + void

    def _within(self, groups: Sequence[int], rows: int, limits: Limits) -> tuple[int, int]:
        first, stop = 0, rows
        low, high = limits.low, limits.high
        if groups and low is not None and tree_key(self.groups[groups[0]].first) < tree_key(low):
            first = self._rows_before(groups[0], low)
        if groups and high is not None and not self._ends_before(groups[-1], high):
            stop = rows - self.groups[groups[-1]].rows + self._rows_before(groups[-1], high)
        return first, stop

    def _ends_before(self, group: int, limit: bytes) -> bool:
        following = group + 1
        return following < len(self.groups) and tree_key(self.groups[following].first) <= tree_key(limit)

    def _rows_before(self, group: int, limit: bytes) -> int:
        """Return how many rows of a group lie before a path, in tree order."""
        paths = single(self._reader.read([group], ["path"])["path"])
        return bisect_left(range(len(paths)), tree_key(limit), key=lambda row: tree_key(paths[row].as_py()))


def joined(sides: Sequence[Side]) -> Side:
    """Return the rows of several windows as one side."""
    columns = {
        name: _joined([getattr(side, name) for side in sides], dtype)
        for name, dtype in (
            ("place", np.int64),
            ("kind", np.uint8),
            ("key_hi", np.uint64),
            ("key_lo", np.uint64),
            ("size", np.int64),
            ("mtime_ns", np.int64),
            ("hollow", np.uint8),
        )
    }
    for name in ("target", "digest"):
        columns[name] = pa.concat_arrays([pa.nulls(0, pa.binary()), *(getattr(side, name) for side in sides)])
    return Side(**columns)


def letter_codes(kinds: Any) -> Any:
    """Return the letter codes of a column of kinds that comes as a dictionary, each chunk with its own."""
    codes = []
    for chunk in kinds.chunks:
        letters = np.array([ord(letter) for letter in chunk.dictionary.to_pylist()], dtype=np.uint8)
        codes.append(letters[chunk.indices.to_numpy(zero_copy_only=False)])
    return _joined(codes, np.uint8)


def _joined(parts: Sequence[Any], dtype: Any) -> Any:
    return np.concatenate(parts) if parts else np.empty(0, dtype=dtype)

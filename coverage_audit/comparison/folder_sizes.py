"""How much lies in which folder of a listing, and whose it is: read group by group, in memory that the depth bounds.

A file belongs to the deepest claim that holds it; what nobody claims may be left out by a pattern; the rest is
unclaimed. A file with several names counts at each with its part of the size, where the listing shows the names.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from coverage_audit.comparison.declared import Declared
from coverage_audit.comparison.leaving_out import KEPT
from coverage_audit.evidence.difference import Tally
from coverage_audit.evidence.manifest import Blind, Manifest, PartialManifest
from coverage_audit.evidence.store import RowReader
from coverage_audit.evidence.store.columns import integers, octets_of, single
from coverage_audit.evidence.surveyed import NOBODY, Cell, Holder

MOST_CELLS: Final = 100_000
"""Above so many, folders are told apart one level less deep."""

_COLUMNS: Final = ("path", "kind", "size", "links")


@dataclass(frozen=True, kw_only=True)
class FolderSizes:
    """Disjoint cells with folders at most `depth` deep, and the unreadable places that nobody claims or leaves out."""

    depth: int
    cells: tuple[Cell, ...]
    blind: tuple[Blind, ...]


def folder_sizes(manifest: Manifest, declared: Declared, depth: int, *, most_cells: int = MOST_CELLS) -> FolderSizes:
    """Add up a listing of a whole volume. Raises EvidenceError when it cannot be read."""
    sums = _Sums(depth, most_cells)
    with RowReader(manifest.file) as reader:
        for number in range(len(reader.groups)):
            table = reader.read([number], _COLUMNS)
            _add_group(table.filter(pc.equal(table["kind"], "f")), declared, sums)
    blind = manifest.blind if isinstance(manifest, PartialManifest) else ()
    cells = (
        Cell(folder=folder, holder=holder, tally=Tally(files=files, bytes=octets))
        for (folder, holder), (files, octets) in sorted(sums.held.items())
    )
    return FolderSizes(
        depth=sums.depth, cells=tuple(cells), blind=tuple(place for place in blind if _is_nobodys(place, declared))
    )


class _Sums:
    """Files and bytes by folder and holder; folders are told apart less deep when there are too many."""

    def __init__(self, depth: int, most: int) -> None:
        self.depth = depth
        self.held: dict[tuple[bytes, Holder], tuple[int, int]] = {}
        self._most = most

    def add(self, folder: bytes, holder: Holder, files: int, octets: int) -> None:
        self._put(_cut(folder, self.depth), holder, files, octets)
        while len(self.held) > self._most and self.depth > 1:
            self.depth -= 1
            before, self.held = self.held, {}
            for (one, whose), tally in before.items():
                self._put(_cut(one, self.depth), whose, *tally)

    def _put(self, folder: bytes, holder: Holder, files: int, octets: int) -> None:
        known = self.held.get((folder, holder), (0, 0))
        self.held[folder, holder] = known[0] + files, known[1] + octets


def _add_group(table: Any, declared: Declared, sums: _Sums) -> None:
    if not len(table):
        return
    paths = single(table["path"])
    coded = _folders(paths, max(sums.depth, declared.claims.longest)).dictionary_encode()
    folder = coded.indices.to_numpy(zero_copy_only=False)
    folders: list[bytes] = coded.dictionary.to_pylist()
    holders, held_by = _holders(paths, folder, folders, declared)
    size = np.maximum(integers(table["size"]), 0) // np.maximum(integers(table["links"]), 1)
    both, place = np.unique(folder.astype(np.int64) * len(holders) + held_by, return_inverse=True)
    octets = np.zeros(len(both), np.int64)
    np.add.at(octets, place, size)
    files = np.bincount(place, minlength=len(both))
    for key, count, total in zip(both.tolist(), files.tolist(), octets.tolist(), strict=True):
        sums.add(folders[key // len(holders)], holders[key % len(holders)], count, total)


def _holders(paths: Any, folder: Any, folders: Sequence[bytes], declared: Declared) -> tuple[list[Holder], Any]:
    """Return the holders that occur, and each row's as a number into them."""
    numbers: dict[Holder, int] = {NOBODY: 0}
    seen = [declared.claims.holder_of(one) for one in folders]
    by_folder = np.array([_number(numbers, holder or NOBODY) for holder, _ in seen], np.int64)
    held_by = by_folder[folder]
    open_ends = np.array([further for _, further in seen], bool)
    for row in np.flatnonzero(open_ends[folder]).tolist():  # files that lie beside a claim may be claimed themselves
        holder, _ = declared.claims.holder_of(paths[row].as_py())
        held_by[row] = _number(numbers, holder or NOBODY)
    nobodys = np.flatnonzero(held_by == 0)
    if len(nobodys) and declared.leaving:
        which = declared.leaving.which_of(paths.take(pa.array(nobodys)), np.full(len(nobodys), ord("f"), np.uint8))
        for pattern in np.unique(which[which != KEPT]).tolist():
            held_by[nobodys[which == pattern]] = _number(numbers, declared.left_to[pattern])
    return list(numbers), held_by


def _number(numbers: dict[Holder, int], holder: Holder) -> int:
    return numbers.setdefault(holder, len(numbers))


def _folders(paths: Any, depth: int) -> Any:
    """Return each path's folder, at most `depth` parts of it, as a binary array."""
    lengths = pc.binary_length(paths).to_numpy(zero_copy_only=False).astype(np.int64)
    octets = np.frombuffer(octets_of(paths), np.uint8)
    ends = np.cumsum(lengths)
    starts = ends - lengths
    slashes = np.flatnonzero(octets == ord("/"))
    first, stop = np.searchsorted(slashes, starts), np.searchsorted(slashes, ends)
    parts = np.minimum(stop - first, depth)
    last = np.append(slashes, 0)[np.maximum(first + parts - 1, 0)]
    kept = np.where(parts > 0, last - starts, 0)
    offsets = np.concatenate(([0], np.cumsum(kept)))
    picked = octets[np.repeat(starts - offsets[:-1], kept) + np.arange(offsets[-1])]
    buffers = [None, pa.py_buffer(offsets.astype(np.int32)), pa.py_buffer(picked)]
    return pa.Array.from_buffers(pa.binary(), len(paths), buffers)


def _cut(folder: bytes, depth: int) -> bytes:
    return b"/".join(folder.split(b"/", depth)[:depth])


def _is_nobodys(place: Blind, declared: Declared) -> bool:
    holder, _ = declared.claims.holder_of(place.path)
    if holder is not None:
        return False
    return not place.path or declared.leaving.which(place.path, is_folder=True) == KEPT

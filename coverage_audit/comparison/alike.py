"""Setting aside, before the engine joins anything, the rows that are alike on both sides: on most nights nearly all.

A row is alike when the other side has one of the same 128-bit key and kind, and for a file the same size and the very
same mtime, and no digest or hollowness that speaks against it. That is `same` at any granularity, so nothing here
decides a doubtful case: what is not found alike goes to the engine. Links go there always.
"""

from __future__ import annotations

from typing import Any

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from coverage_audit.comparison.side import FILE, LINK, Side

ANCHORS = 32  # one row in so many, by its key, is looked up first
MOST_RUNS = 200  # beyond that, hashing all rows costs less
SLOTS_A_ROW = 2
ROUNDS = (0, 20, 40)  # rows that met in one slot get another chance with other bits of the key

Rows = Any  # numbers of rows, or a slice


def alike(original: Side, copy: Side) -> tuple[Any, Any]:
    """Return two masks: which rows of either side are alike. They pair off one to one, because keys are unique."""
    found = np.zeros(len(original), dtype=bool), np.zeros(len(copy), dtype=bool)
    for mine, other in _in_step(original, copy):
        same = _same(original, mine, copy, other)
        found[0][mine] |= same
        found[1][other] |= same
    for shift in ROUNDS:
        left_mine, left_other = np.flatnonzero(~found[0]), np.flatnonzero(~found[1])
        if not len(left_mine) or not len(left_other):
            break
        candidate = _met(original.key_lo[left_mine], copy.key_lo[left_other], shift)
        same = _same(original, left_mine[candidate], copy, left_other)
        found[0][left_mine[candidate[same]]] = True
        found[1][left_other[same]] = True
    return found


def _in_step(original: Side, copy: Side) -> list[tuple[slice, slice]]:
    """Return runs of rows that may go in step: both sides are in one order, so between few changes they do."""
    mine = np.flatnonzero(original.key_lo % np.uint64(ANCHORS) == 0)
    other = np.flatnonzero(copy.key_lo % np.uint64(ANCHORS) == 0)
    _, one, two = np.intersect1d(original.key_lo[mine], copy.key_lo[other], assume_unique=True, return_indices=True)
    order = np.argsort(one)
    here, there = mine[one[order]], other[two[order]]
    ends = np.flatnonzero(np.diff(there - here, append=len(copy) + 1))
    begins = np.concatenate([[0], ends[:-1] + 1]) if len(ends) else ends
    if len(ends) > MOST_RUNS:
        return []
    return [
        (slice(here[begin], here[end] + 1), slice(there[begin], there[end] + 1))
        for begin, end in zip(begins.tolist(), ends.tolist(), strict=True)
    ]


def _met(mine: Any, other: Any, shift: int) -> Any:
    """Hash keys into slots by some of their bits; return for each of `other` which of `mine` lies in its slot."""
    bits = max(10, (len(mine) * SLOTS_A_ROW).bit_length())
    slots = np.zeros(1 << bits, dtype=np.int64)
    slots[_slot(mine, shift, bits)] = np.arange(len(mine))
    return slots[_slot(other, shift, bits)]


def _slot(key: Any, shift: int, bits: int) -> Any:
    return ((key >> np.uint64(shift)) & np.uint64((1 << bits) - 1)).view(np.int64)


def _same(original: Side, mine: Rows, copy: Side, other: Rows) -> Any:
    """Compare rows pair by pair; return a mask over the pairs."""
    kind = original.kind[mine]
    good = original.key_lo[mine] == copy.key_lo[other]
    good &= original.key_hi[mine] == copy.key_hi[other]
    good &= kind == copy.kind[other]
    good &= kind != LINK
    same = original.size[mine] == copy.size[other]
    same &= original.mtime_ns[mine] == copy.mtime_ns[other]
    if original.digest.null_count < len(original) and copy.digest.null_count < len(copy):
        same &= _no_other_digest(original.digest, mine, copy.digest, other)
    same &= copy.hollow[other] <= original.hollow[mine]
    same |= kind != FILE
    good &= same
    return good


def _no_other_digest(mine: Any, rows: Rows, other: Any, other_rows: Rows) -> Any:
    same = pc.equal(_picked(mine, rows), _picked(other, other_rows))
    return pc.fill_null(same, fill_value=True).to_numpy(zero_copy_only=False)


def _picked(values: Any, rows: Rows) -> Any:
    return values[rows] if isinstance(rows, slice) else values.take(pa.array(rows))

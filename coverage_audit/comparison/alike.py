"""Setting aside, before the engine joins anything, the rows that are alike on both sides: on most nights nearly all.

A row is alike when the other side has one of the same 128-bit key and kind, and for a file the same size and the very
same mtime. That is `same` at any granularity, so nothing here decides a doubtful case: what is not found
alike goes to the engine. Links go there always.
"""

from __future__ import annotations

from typing import Any

import numpy as np

from coverage_audit.comparison.side import FILE, LINK, Side

SLOTS_A_ROW = 2
ROUNDS = (0, 20, 40)  # rows that met in one slot get another chance with other bits of the key


def alike(sides: tuple[Side, Side], rows: tuple[Any, Any]) -> tuple[Any, Any]:
    """Return two masks over all rows of either side: which of `rows` (numbers, rising) are alike.

    They pair off one to one, because keys are unique on either side.
    """
    mine, other = rows
    found = np.zeros(len(sides[0]), dtype=bool), np.zeros(len(sides[1]), dtype=bool)
    for shift in ROUNDS:
        if not len(mine) or not len(other):
            break
        met_mine, met_other = _met(*sides, mine, other, shift)
        found[0][met_mine] = True
        found[1][met_other] = True
        mine, other = mine[~found[0][mine]], other[~found[1][other]]
    return found


def _met(original: Side, copy: Side, mine: Any, other: Any, shift: int) -> tuple[Any, Any]:
    """Hash the original's rows into slots by some bits of their key; look each of the copy's rows up there."""
    bits = max(10, (len(mine) * SLOTS_A_ROW).bit_length())
    slots = np.zeros(1 << bits, dtype=np.int64)
    slots[_slot(_of(original.key_lo, mine), shift, bits)] = mine
    there = _of(copy.key_lo, other)
    candidate = slots[_slot(there, shift, bits)]
    kind = original.kind[candidate]
    good = original.key_lo[candidate] == there
    good &= original.key_hi[candidate] == _of(copy.key_hi, other)
    good &= kind == _of(copy.kind, other)
    good &= kind != LINK
    same = original.size[candidate] == _of(copy.size, other)
    same &= original.mtime_ns[candidate] == _of(copy.mtime_ns, other)
    same |= kind != FILE
    good &= same
    return candidate[good], other[good]


def _slot(key: Any, shift: int, bits: int) -> Any:
    return ((key >> np.uint64(shift)) & np.uint64((1 << bits) - 1)).view(np.int64)


def _of(column: Any, rows: Any) -> Any:
    """Pick rows (numbers, rising); all of them are as a rule wanted, and then nothing is copied."""
    return column if len(rows) == len(column) else column[rows]

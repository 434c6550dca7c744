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
ROUNDS = (0, 21)  # rows that met in one slot get a second chance with other bits of the key


def alike(sides: tuple[Side, Side], rows: tuple[Any, Any]) -> tuple[Any, Any]:
    """Return which of `rows` (numbers on either side, rising) are alike. They pair off one to one: keys are unique."""
    mine, other = rows
    found: list[tuple[Any, Any]] = []
    for shift in ROUNDS:
        if not len(mine) or not len(other):
            break
        met = _met(*sides, mine, other, shift)
        found.append(met)
        mine, other = without(mine, met[0]), without(other, met[1])
    return _all([pair[0] for pair in found]), _all([pair[1] for pair in found])


def without(rows: Any, taken: Any) -> Any:
    """Return `rows` (numbers, rising) without those in `taken`."""
    if not len(rows) or not len(taken):
        return rows
    gone = np.zeros(int(rows[-1]) + 1, dtype=bool)
    gone[taken] = True
    return rows[~gone[rows]]


def _met(original: Side, copy: Side, mine: Any, other: Any, shift: int) -> tuple[Any, Any]:
    """Hash the original's rows into slots by some bits of their key; look each of the copy's rows up there."""
    bits = max(10, int(len(mine) * SLOTS_A_ROW).bit_length())
    mask = np.uint64((1 << bits) - 1)
    slots = np.zeros(1 << bits, dtype=np.int32)
    slots[(original.key_lo[mine] >> np.uint64(shift)) & mask] = mine
    candidate = slots[(copy.key_lo[other] >> np.uint64(shift)) & mask]
    same_key = original.key_lo[candidate] == copy.key_lo[other]
    candidate, other = candidate[same_key], other[same_key]
    kind = original.kind[candidate]
    same_file = (original.size[candidate] == copy.size[other]) & (original.mtime_ns[candidate] == copy.mtime_ns[other])
    good = (
        (original.key_hi[candidate] == copy.key_hi[other])
        & (kind == copy.kind[other])
        & (kind != LINK)
        & (same_file | (kind != FILE))
    )
    return candidate[good], other[good]


def _all(parts: list[Any]) -> Any:
    return np.concatenate(parts) if parts else np.empty(0, dtype=np.int64)

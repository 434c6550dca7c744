"""Numbers that stand in columns of fixed width, read for all records of a block at once."""

from __future__ import annotations

from typing import Any

import numpy as np


def right_aligned(columns: Any) -> Any:
    """Return right-aligned numbers, None where something else stands there."""
    blank = columns == ord(" ")
    digits = columns - np.uint8(ord("0"))
    if not ((digits <= 9) | blank).all() or blank[-1].any() or (blank[1:] & ~blank[:-1]).any():
        return None
    total = np.zeros(columns.shape[1], np.int64)
    for column, empty in zip(digits, blank, strict=True):
        total = total * 10 + np.where(empty, np.uint8(0), column)
    return total

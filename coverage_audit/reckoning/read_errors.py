"""The chance that something cannot be read when so many bytes are.

Datasheets give a rate of unrecoverable errors for each bit read ("less than one in 1e14"). It is a worst case, so that
what comes out is an upper estimate; and it takes errors to be independent of each other, where real ones come in heaps.
Bytes are decimal: 12 TB are 12e12 bytes.
"""

from __future__ import annotations

from math import expm1, log1p
from typing import Final

WORST_DATASHEET: Final = 1e-14
"""Errors for each bit read that datasheets of desktop hard disks allow (common practice, no published source)."""


def chance_of_unreadable(size: int, rate: float = WORST_DATASHEET) -> float:
    """Return the chance of at least one unrecoverable error in reading `size` bytes: 1 - (1 - rate)^(8 size).

    `rate` is errors a bit. Raises ValueError where it is no chance, or fewer than no bytes are read.
    """
    if not 0 <= rate < 1 or size < 0:
        raise ValueError(f"no chance comes of {size} bytes at {rate} errors a bit")
    return -expm1(8 * size * log1p(-rate))

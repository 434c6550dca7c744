"""What a volume of changing size held, told as if it had always been as large as it is today."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime
from typing import Final

from coverage_audit.reckoning.filling import Reading

_GROWN: Final = 0.01
"""A larger part of a volume that comes or goes from one reading to the next is a change of the volume itself; less is
what others take of a pool that they share (the project's own choice)."""


@dataclass(frozen=True, kw_only=True)
class Shown:
    """How large a volume was, and how much of it was free, in its own unit (bytes, inodes)."""

    at: datetime
    size: int
    free: int


def readings_of(shown: Iterable[Shown]) -> tuple[tuple[Reading, ...], int]:
    """Return what was in use of the size of today, and that size.

    Where a volume was made larger or smaller at once, only its limit changed. Where its size dwindles day by day,
    others fill the pool that it lies on: that is room in use, too.
    """
    readings: list[Reading] = []
    limit, resized, after = 0, 0, None
    for one in sorted(shown, key=lambda each: each.at, reverse=True):
        if after is None:
            limit = one.size
        elif abs(after.size - one.size) > _GROWN * one.size:
            resized += after.size - one.size
        readings.append(Reading(at=one.at, used=limit - one.free - resized))
        after = one
    return tuple(reversed(readings)), limit

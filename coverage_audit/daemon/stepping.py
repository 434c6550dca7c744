"""Steps of the wall clock, seen against the monotonic one: it was set, or the machine slept."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Final

NOTICED: Final = timedelta(seconds=30)
"""A step that is smaller is a clock being corrected."""


@dataclass(frozen=True, kw_only=True)
class Moment:
    """One moment on both clocks: the wall's, and the monotonic one's in seconds (it stands still while asleep)."""

    wall: datetime
    monotonic: float


def step(before: Moment, after: Moment) -> timedelta | None:
    """Return by how much the wall clock went on beyond the monotonic one (negative: it was set back), None if little.

    Of a step forward nobody can tell whether the machine slept or the clock was set.
    """
    passed = timedelta(seconds=after.monotonic - before.monotonic)
    stepped = (after.wall - before.wall) - passed
    return stepped if abs(stepped) >= NOTICED else None

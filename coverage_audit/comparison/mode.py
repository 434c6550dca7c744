"""How the times of two trees are to be compared: found out from the trees, never configured.

The granularity is the coarser of both. What may overrule plain times are two things that show in nearly all files at
once: one whole-hour shift (a zone error of the box or its filesystem), or times that are all later in the
copy (it does not keep times). Never a general tolerance of an hour: single files that are off count as different.
"""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass, field, replace
from datetime import timedelta
from typing import Any

import numpy as np

from coverage_audit.evidence.difference import Mode
from coverage_audit.evidence.manifest import Manifest

HOUR_NS = 3600 * 10**9
MOST_HOURS = 26  # zones lie from -12 to +14 hours: no two further apart than this
NEARLY_ALL_PERCENT = 95
A_DAY = 24  # no zone error between inhabited places, but what files show that are written anew every night
LEAST_FILES = 3
MOST_OFFSET = timedelta(minutes=5)


@dataclass(kw_only=True)
class Signs:
    """What was seen among the files that have one size on both sides: how many, and how their times differ."""

    granularity_ns: int
    sized: int = 0
    later: int = 0
    hours: Counter[int] = field(default_factory=Counter)

    def add(self, sized: int, later_ns: Any) -> None:
        """Count more files of equal size, and how much later (ns) the copy's times are where they are not odd."""
        self.sized += sized
        self.later += int((later_ns >= self.granularity_ns).sum())
        hours = np.rint(later_ns / HOUR_NS).astype(np.int64)
        whole = np.abs(later_ns - hours * HOUR_NS) < self.granularity_ns
        shifted = hours[whole & (hours != 0) & (np.abs(hours) <= MOST_HOURS) & (np.abs(hours) != A_DAY)]
        for hour, count in zip(*np.unique(shifted, return_counts=True), strict=True):
            self.hours[int(hour)] += int(count)

    def could_decide(self) -> bool:
        """Whether these signs alone, without files that are the same, would overrule plain times."""
        return _nearly_all(self.later, self.sized) or any(_nearly_all(n, self.sized) for n in self.hours.values())


def decide(signs: Signs, plain: Mode, offset_ns: int | None, *, keeps_times: bool = False) -> Mode:
    """Return the mode that the signs ask for, `plain` where they ask for none; `offset_ns` is `clock_offset_ns`.

    A copy that `keeps_times`, as an earlier audit saw, and bears later ones all at once was rewritten (encryption in
    place does that, too): sizes prove nothing of it.
    """
    for hours, count in signs.hours.most_common(1):
        if _nearly_all(count, signs.sized):
            return replace(plain, shift=-timedelta(hours=hours))
    if _nearly_all(signs.later, signs.sized):
        if keeps_times:
            return replace(plain, times_lost=True)
        return replace(plain, by_size=True, offset_ns=offset_ns)
    return plain


def clock_offset_ns(original: Manifest, copy: Manifest) -> int | None:
    """Return what turns a time by the copy's clock into one by the original's; None: unknown or too large.

    Two places on one device have one clock.
    """
    if original.origin.address.volume.device == copy.origin.address.volume.device:
        return 0
    mine, other = original.origin.clock_offset, copy.origin.clock_offset
    if mine is None or other is None or abs(other - mine) > MOST_OFFSET:
        return None
    return (mine - other) // timedelta(microseconds=1) * 1000


def _nearly_all(count: int, files: int) -> bool:
    return count >= LEAST_FILES and count * 100 >= files * NEARLY_ALL_PERCENT

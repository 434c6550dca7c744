"""At what age points leave: what the present pruning does, learned from what it did."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from statistics import median
from typing import Final

from coverage_audit.estate.model import Address
from coverage_audit.evidence.points_past import LeftPoint
from coverage_audit.reckoning.slots import Slot

RECENT: Final = timedelta(days=90)
"""What left longer before the last one tells of a pruning that may be another now (the project's own choice)."""


@dataclass(frozen=True, kw_only=True)
class Pruning:
    """At what age the oldest point leaves, and from what age on points between others do (None: none did lately).

    Ages are known to half the time between two lists; the middle is given.
    """

    oldest_at: timedelta | None
    thinned_from: timedelta | None


@dataclass(frozen=True, kw_only=True)
class Going:
    """The oldest point of a copy, which the present pruning deletes about `at`; `lost` is then held by no other.

    `deleted_at` is the age at which it deletes.
    """

    address: Address
    name: str
    at: datetime
    deleted_at: timedelta
    lost: tuple[Slot, ...]


def pruning(left: Sequence[LeftPoint]) -> Pruning:
    """Learn how points leave from those that left lately."""
    last = max((one.gone for one in left), default=None)
    recent = [one for one in left if last is not None and last - one.gone <= RECENT]
    oldest = [_age(one) for one in recent if one.oldest]
    between = [_age(one) for one in recent if not one.oldest]
    return Pruning(oldest_at=_middle(oldest) if oldest else None, thinned_from=min(between, default=None))


def seen_until(left: Sequence[LeftPoint]) -> timedelta | None:
    """Return the age up to which every point was still listed (None: none ever left)."""
    return min((one.seen - one.at for one in left), default=None)


def _middle(ages: Sequence[timedelta]) -> timedelta:
    return timedelta(seconds=median(age.total_seconds() for age in ages))


def _age(one: LeftPoint) -> timedelta:
    return one.seen + (one.gone - one.seen) / 2 - one.at

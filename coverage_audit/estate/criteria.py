"""Criteria of a policy that have parts of their own: older states, a rhythm of points, samples of the content."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import timedelta
from fractions import Fraction

from coverage_audit.estate.units import format_duration, format_share

WEEKDAYS = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")
"""As the owner writes them; the place is Python's number of the weekday."""


@dataclass(frozen=True, kw_only=True)
class Keep:
    """The older states asked for: a point in each of the last so many whole calendar slots, and a span without a hole.

    Zero of a slot and no `span`: not asked.
    """

    daily: int = 0
    weekly: int = 0
    monthly: int = 0
    yearly: int = 0
    span: timedelta | None = None

    def __str__(self) -> str:
        """Write it as the estate file does."""
        counts = {"daily": self.daily, "weekly": self.weekly, "monthly": self.monthly, "yearly": self.yearly}
        parts = [f"{name}: {count}" for name, count in counts.items() if count]
        parts += [f"span: {format_duration(self.span)}"] if self.span is not None else []
        return ", ".join(parts)


@dataclass(frozen=True, kw_only=True)
class Rhythm:
    """How often a point is to come: `every` so long, each calendar month (`monthly`), or as is learned (neither).

    An `every` of whole days is counted by the calendar. None is expected on weekdays in `quiet` (0 is Monday); it may
    be late by `tolerance` (None: a quarter of the interval).
    """

    every: timedelta | None = None
    monthly: bool = False
    quiet: frozenset[int] = frozenset()
    tolerance: timedelta | None = None

    def __str__(self) -> str:
        """Say it in words of the estate file."""
        often = "learned" if self.every is None else f"every {format_duration(self.every)}"
        parts = ["monthly" if self.monthly else often]
        parts += [f"quiet: {', '.join(WEEKDAYS[day] for day in sorted(self.quiet))}"] if self.quiet else []
        parts += [f"tolerance: {format_duration(self.tolerance)}"] if self.tolerance is not None else []
        return "; ".join(parts)


@dataclass(frozen=True, kw_only=True)
class Verify:
    """How much of the content a random sample must show, and how often: both shares lie between 0 and 1.

    With `confidence` fewer than `tolerable` of the files differ.
    """

    confidence: Fraction
    tolerable: Fraction
    every: timedelta

    def __str__(self) -> str:
        """Write it as the estate file does."""
        shares = f"confidence: {format_share(self.confidence)}, tolerable: {format_share(self.tolerable)}"
        return f"{shares}, every: {format_duration(self.every)}"


@dataclass(frozen=True, kw_only=True)
class UnjudgedCriterion:
    """A criterion that the estate declares and this version cannot judge: a finding, never silence."""

    name: str
    text: str

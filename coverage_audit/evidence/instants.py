"""Instants and spans as integers: nanoseconds, those of instants since 1970 UTC, exactly (a float loses them)."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from typing import Final

EPOCH: Final = datetime(1970, 1, 1, tzinfo=UTC)
SECOND_NS: Final = 10**9


def to_ns(instant: datetime) -> int:
    """Return an aware instant as nanoseconds since 1970 UTC."""
    return span_ns(instant - EPOCH)


def from_ns(at_ns: int) -> datetime:
    """Return nanoseconds since 1970 as an aware instant in UTC (to the microsecond, rounded down).

    Raises OverflowError for what no calendar has.
    """
    return EPOCH + timedelta(microseconds=at_ns // 1000)


def span_ns(span: timedelta) -> int:
    """Return a span in nanoseconds."""
    return span // timedelta(microseconds=1) * 1000


def odd_after(started: datetime) -> int:
    """Return the last mtime that is still plausible for a listing begun at `started`: a day later, in ns.

    Times after it or before 1970 are odd: wrapped, or by a wrong clock; never taken for "newer".
    """
    return to_ns(started + timedelta(days=1))

"""Instants as integers: nanoseconds since 1970 UTC, exactly (a float loses them)."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
SECOND_NS = 10**9


def to_ns(instant: datetime) -> int:
    """Return an aware instant as nanoseconds since 1970 UTC."""
    return (instant - EPOCH) // timedelta(microseconds=1) * 1000


def odd_after(started: datetime) -> int:
    """Return the last mtime that is still plausible for a listing begun at `started`: a day later, in ns.

    Times after it or before 1970 are odd: wrapped, or by a wrong clock; never taken for "newer".
    """
    return to_ns(started + timedelta(days=1))

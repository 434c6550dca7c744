"""Limits for tests: short, so that what hangs is seen to hang."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta

from coverage_audit.estate.limits import Limits

_USUAL = Limits(
    memory=256 << 20,
    device_time=timedelta(seconds=60),
    read_time=timedelta(seconds=10),
    connect_time=timedelta(seconds=5),
    login_time=timedelta(seconds=10),
    channels=2,
    devices_at_once=4,
    walkers=2,
    clock_tolerance=timedelta(minutes=2),
    undeclared_above=10**9,
    survey_every=timedelta(days=7),
    survey_depth=4,
    attached_grace=timedelta(days=3),
    content_time=timedelta(minutes=30),
    content_rate=100_000_000,
)


def some_limits(**seconds: float) -> Limits:
    """Return limits; durations are given in seconds, e.g. `read_time=1`."""
    changes = {
        name: timedelta(seconds=value) if isinstance(getattr(_USUAL, name), timedelta) else int(value)
        for name, value in seconds.items()
    }
    return replace(_USUAL, **changes)  # type: ignore[arg-type]  # the names are checked by replace itself

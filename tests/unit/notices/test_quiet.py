"""Quiet hours on the nights on which Dublin's clocks change: 2026-10-25 01:00 UTC back, 2027-03-28 01:00 UTC on."""

from __future__ import annotations

from datetime import UTC, datetime, time
from zoneinfo import ZoneInfo

import pytest

from coverage_audit.notices.quiet import quiet_until

DUBLIN = ZoneInfo("Europe/Dublin")


def at(text: str) -> datetime:
    return datetime.fromisoformat(text).replace(tzinfo=UTC)


@pytest.mark.parametrize(
    ("now", "hours", "until"),
    [
        ("2026-11-26 21:59", (time(22), time(7)), None),
        ("2026-11-26 22:00", (time(22), time(7)), "2026-11-27 07:00"),
        ("2026-11-27 03:10:59", (time(22), time(7)), "2026-11-27 07:00"),
        ("2026-11-27 07:00", (time(22), time(7)), None),
        ("2026-11-26 13:30", (time(13), time(15)), "2026-11-26 15:00"),
        ("2026-07-26 21:30", (time(22), time(7)), "2026-07-27 06:00"),  # summer time: 22:30 to 07:00
        ("2026-10-24 23:00", (time(22), time(7)), "2026-10-25 07:00"),  # an hour more of the night
        ("2027-03-27 23:00", (time(22), time(7)), "2027-03-28 06:00"),  # an hour less
        ("2027-03-28 00:50", (time(22), time(1, 30)), "2027-03-28 01:00"),  # its end is left out: the clocks pass it
        ("2026-10-25 00:20", (time(22), time(1, 30)), "2026-10-25 00:30"),  # the first 01:30
        ("2026-10-25 01:10", (time(22), time(1, 30)), "2026-10-25 01:30"),  # the second
    ],
)
def test_nothing_is_sent_until_clocks_show_the_end(now: str, hours: tuple[time, time], until: str | None) -> None:
    assert quiet_until(at(now), hours, DUBLIN) == (None if until is None else at(until))


def test_an_address_without_quiet_hours_is_never_quiet() -> None:
    assert quiet_until(at("2026-11-27 03:00"), None, DUBLIN) is None

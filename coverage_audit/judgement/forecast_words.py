"""Words for when a volume will be full, the same in findings and on pages."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from zoneinfo import ZoneInfo

from coverage_audit.estate.units import format_size
from coverage_audit.judgement.forecast import RoomForecast
from coverage_audit.judgement.wording import day
from coverage_audit.reckoning.filling import Filling


def dates(found: Filling, zone: ZoneInfo) -> str:
    """Say the date of filling with its interval, e.g. `2027-03-14 (2027-02-01 to 2027-05-02)`."""
    early, late = _day(found.earliest, zone), _day(found.latest, zone)
    if found.reached is None:
        return f"not foreseeable; {early} at the earliest" if early else "not foreseeable"
    if early == late == _day(found.reached, zone):
        return early
    if early and late:
        return f"{_day(found.reached, zone)} ({early} to {late})"
    return f"{_day(found.reached, zone)} ({early or 'at once'} at the earliest)"


def between(found: Filling, zone: ZoneInfo) -> str:
    """Say the ends of the interval alone (empty: they are one day)."""
    early, late = _day(found.earliest, zone), _day(found.latest, zone)
    if early and late:
        return "" if early == late else f"between {early} and {late}"
    return f"not before {early}" if early else ""


def known(forecast: RoomForecast) -> list[tuple[str, Filling]]:
    """Return what is known of a volume's bytes and of its inodes, each with that word."""
    return [(what, found) for what, found in (("bytes", forecast.bytes), ("inodes", forecast.inodes)) if found]


def soonest(told: Sequence[tuple[str, Filling]]) -> tuple[str, Filling] | None:
    """Return what is used up first, by the likely date and then by the earliest (None: nothing is told)."""
    return min(told, key=lambda each: _order(each[1]), default=None)


def pace(what: str, found: Filling) -> str:
    """Say how much more is in use each day."""
    if what == "inodes":
        return f"{round(found.pace):+,} inodes a day".replace(",", " ")
    sign = "+" if found.pace >= 0 else "-"
    return f"{sign}{format_size(abs(round(found.pace)))} a day"


def room(forecast: RoomForecast) -> str:
    """Say what is free now."""
    last = forecast.last
    if last.capacity is None or last.free is None:
        return "its room is not shown"
    return f"{format_size(last.free)} of {format_size(last.capacity)} free"


def _order(found: Filling) -> tuple[bool, float, bool, float]:
    likely, early = found.reached, found.earliest
    return likely is None, likely.timestamp() if likely else 0.0, early is None, early.timestamp() if early else 0.0


def _day(instant: datetime | None, zone: ZoneInfo) -> str:
    return "" if instant is None else day(instant, zone)

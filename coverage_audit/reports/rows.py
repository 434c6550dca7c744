"""One differing file as a line of text."""

from __future__ import annotations

from zoneinfo import ZoneInfo

from coverage_audit.comparison.rows import DifferingRow
from coverage_audit.estate.units import format_size
from coverage_audit.evidence.instants import from_ns
from coverage_audit.evidence.manifest import Row
from coverage_audit.evidence.visible import visible


def row_text(row: DifferingRow, zone: ZoneInfo) -> str:
    """Say what differs, what that means, and what either side holds; times in the estate's zone."""
    means = row.verdict.value if row.verdict else "not judged"
    sides = f"original: {_side(row.original, zone)}; copy: {_side(row.copy, zone)}"
    return f"  {row.row_class.value:<8} {means:<20} {visible(row.path)}\n{'':31}{sides}"


def _side(row: Row | None, zone: ZoneInfo) -> str:
    if row is None:
        return "nothing"
    return f"{format_size(row.size)}, of {_moment(row.mtime_ns, zone)}"


def _moment(ns: int, zone: ZoneInfo) -> str:
    try:
        moment = from_ns(ns)
        return f"{moment.astimezone(zone):%Y-%m-%d %H:%M:%S}"
    except OverflowError:
        return f"a time that no calendar has ({ns} ns)"

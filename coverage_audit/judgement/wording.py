"""Words for figures, instants and names, so that every sentence says them alike."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import datetime, timedelta, tzinfo
from zoneinfo import ZoneInfo

from coverage_audit.estate.units import format_duration, format_size
from coverage_audit.evidence.difference import CopyComparison, RowVerdict, Sample, Tally
from coverage_audit.evidence.visible import visible

NAMES_SHOWN = 5


def files(count: int) -> str:
    """Say a number of files."""
    return "1 file" if count == 1 else f"{count:,} files".replace(",", " ")


def amount(tally: Tally) -> str:
    """Say how much: files, and their size."""
    return f"{files(tally.files)} ({format_size(tally.bytes)})"


def copies(count: int) -> str:
    """Say a number of copies."""
    return "1 copy" if count == 1 else f"{count} copies"


def when(instant: datetime, zone: ZoneInfo) -> str:
    """Say an instant to the minute, in the estate's zone, with the zone's abbreviation."""
    return instant.astimezone(zone).strftime("%Y-%m-%d %H:%M %Z")


def last_day(until: datetime, zone: tzinfo) -> str:
    """Say the last day of a span that ends at `until`, in the zone."""
    return (until.astimezone(zone) - timedelta(microseconds=1)).strftime("%Y-%m-%d")


def age(instant: datetime, now: datetime) -> str:
    """Say how long ago an instant was (an instant to come: how far ahead it lies)."""
    if instant > now:
        return f"{format_duration(instant - now)} ahead"
    return f"{format_duration(now - instant)} ago"


def duration(span: timedelta) -> str:
    """Say a duration."""
    return format_duration(span)


def joined(words: Iterable[str]) -> str:
    """Join with commas and a final "and"."""
    *first, last = tuple(words) or ("",)
    return f"{', '.join(first)} and {last}" if first else last


def such_as(found: CopyComparison, verdict: RowVerdict) -> str:
    """Name a few rows of one verdict, led in by a colon (empty: none was kept as a sample)."""
    rows = [row for row in found.samples if row.verdict is verdict]
    return f": {names(rows)}" if rows else ""


def names(samples: Iterable[Sample]) -> str:
    """Name a few differing rows, safe to show."""
    found = tuple(samples)
    said = ", ".join(f"“{visible(sample.path)}”" for sample in found[:NAMES_SHOWN])
    return f"{said} and {len(found) - NAMES_SHOWN} more" if len(found) > NAMES_SHOWN else said

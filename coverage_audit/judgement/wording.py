"""Words for figures, instants and names, so that every sentence says them alike."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from datetime import datetime, timedelta, tzinfo
from zoneinfo import ZoneInfo

from coverage_audit.estate.units import format_duration, format_size
from coverage_audit.evidence.difference import CopyComparison, RowVerdict, Sample, Tally
from coverage_audit.evidence.visible import visible

NAMES_SHOWN = 5


def so_many(count: int, noun: str) -> str:
    """Say a number of things whose plural takes an s (`1 night`, `3 nights`)."""
    return f"{count} {noun}" if count == 1 else f"{count} {noun}s"


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


def day(instant: datetime, zone: tzinfo) -> str:
    """Say on which day an instant was, in the zone."""
    return instant.astimezone(zone).strftime("%Y-%m-%d")


def last_day(until: datetime, zone: tzinfo) -> str:
    """Say the last day of a span that ends at `until`, in the zone."""
    return day(until - timedelta(microseconds=1), zone)


def age(instant: datetime, now: datetime) -> str:
    """Say how long ago an instant was (an instant to come: how far ahead it lies)."""
    if instant > now:
        return f"{format_duration(instant - now)} ahead"
    return f"{format_duration(now - instant)} ago"


def duration(span: timedelta) -> str:
    """Say a duration."""
    return format_duration(span)


def joined(words: Iterable[str], by: str = "and") -> str:
    """Join with commas, and the last two `by` a word."""
    *first, last = tuple(words) or ("",)
    return f"{', '.join(first)} {by} {last}" if first else last


def shortened(words: Sequence[str], most: int) -> list[str]:
    """Return the first words, and how many more there are where that is not all of them."""
    more = len(words) - most
    return [*words[:most], f"{more} more"] if more > 0 else list(words)


def cut(name: str, longest: int) -> str:
    """Return a name that is safe to show, cut to so many characters."""
    shown = visible(name)
    return shown if len(shown) <= longest else f"{shown[: longest - 1]}…"


def such_as(found: CopyComparison, verdict: RowVerdict) -> str:
    """Name a few rows of one verdict, led in by a colon (empty: none was kept as a sample)."""
    rows = [row for row in found.samples if row.verdict is verdict]
    return f": {names(rows)}" if rows else ""


def names(samples: Iterable[Sample]) -> str:
    """Name a few differing rows, safe to show."""
    found = tuple(samples)
    said = ", ".join(f"“{visible(sample.path)}”" for sample in found[:NAMES_SHOWN])
    return f"{said} and {len(found) - NAMES_SHOWN} more" if len(found) > NAMES_SHOWN else said

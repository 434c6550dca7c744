"""The fallback chart: how far back one would fall on each copy, as positions (pure geometry).

Time runs left from now, on a logarithmic scale from an hour to a year; positions are per cent of the chart's
width, so that one drawing serves a phone and a desk. Left of the year lies the far end, for copies with no
proven point.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Final

from coverage_audit.estate.model import Estate
from coverage_audit.judgement.verdict import JudgedCopy, JudgedDataset, Standing
from coverage_audit.reports.instants import short_span
from coverage_audit.reports.present import max_ages, site_name

NOW_AT: Final = 99.0
HOUR_AT: Final = 89.0
YEAR_AT: Final = 15.0
FAR_END: Final = 3.5
BOUND: Final = 8.0  # between the far end and the scale
_HOUR: Final = timedelta(hours=1)
_YEAR: Final = timedelta(days=365)
_OLDEST_AT: Final = 11.0  # whatever is older than a year stands here, and its label says how old
_TICKS: Final = (
    ("hour", _HOUR),
    ("day", timedelta(days=1)),
    ("week", timedelta(days=7)),
    ("month", timedelta(days=30)),
    ("year", _YEAR),
)


@dataclass(frozen=True, kw_only=True)
class Tick:
    """A line of the scale, with its word."""

    at: float
    word: str


@dataclass(frozen=True, kw_only=True)
class Mark:
    """One copy. `limit` is where its `max_age` lies; `span` None: it has no proven point."""

    at: float
    limit: float
    standing: Standing
    place: str
    site: str
    span: str | None
    max_age: str


@dataclass(frozen=True, kw_only=True)
class ChartRow:
    """One dataset with its copies, the freshest first."""

    dataset: JudgedDataset
    marks: tuple[Mark, ...]


def ticks() -> tuple[Tick, ...]:
    """Return the lines of the scale, from now leftwards."""
    return (Tick(at=NOW_AT, word="now"), *(Tick(at=position(span), word=word) for word, span in _TICKS))


def position(age: timedelta) -> float:
    """Return where an age lies, in per cent of the width: `now` on the right, a year far left, nothing beyond.

    Between an hour and a year equal ratios are equal distances; the last hour is drawn evenly, for there is no
    logarithm of nothing. An age below zero (clocks differ) is now.
    """
    if age >= _HOUR:
        share = math.log(age / _HOUR) / math.log(_YEAR / _HOUR)
        return round(max(HOUR_AT - share * (HOUR_AT - YEAR_AT), _OLDEST_AT), 2)
    return round(NOW_AT - max(age / _HOUR, 0.0) * (NOW_AT - HOUR_AT), 2)


def chart_row(dataset: JudgedDataset, max_ages: Sequence[timedelta], sites: Sequence[str], now: datetime) -> ChartRow:
    """Place the copies of one dataset; `max_ages` and `sites` (names) are those of its copies, in their order."""
    placed = [_mark(copy, limit, site, now) for copy, limit, site in zip(dataset.copies, max_ages, sites, strict=True)]
    return ChartRow(dataset=dataset, marks=tuple(sorted(placed, key=lambda mark: (-mark.at, mark.place))))


def row_of(dataset: JudgedDataset, estate: Estate, now: datetime) -> ChartRow:
    """Place the copies of a dataset that the estate declares."""
    sites = tuple(site_name(estate, copy.evidence.place.device) for copy in dataset.copies)
    return chart_row(dataset, max_ages(dataset, estate), sites, now)


def _mark(copy: JudgedCopy, limit: timedelta, site: str, now: datetime) -> Mark:
    point = copy.recovery_point
    at = FAR_END if point is None else position(now - point)
    return Mark(
        at=at,
        limit=position(limit),
        standing=copy.standing,
        place=str(copy.address.volume),
        site=site,
        span=None if point is None else short_span(max(now - point, timedelta(0))),
        max_age=short_span(limit),
    )

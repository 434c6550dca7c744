"""Recovery points put together: none in the future, each instant once, whatever kind they are of."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from statistics import median
from typing import Final, TypeVar

from coverage_audit.collectors.stamps.local_time import NoPointError, Span, Zone
from coverage_audit.estate.model import Address
from coverage_audit.evidence.facts import DatedBy, PointList, RecoveryPoint
from coverage_audit.evidence.visible import visible

_T = TypeVar("_T")
Refused = tuple[str, str]

SHRUNK: Final = 10
"""A point is refused when it is smaller than its predecessors' median divided by this (common practice, no source)."""

_HOUR: Final = timedelta(hours=1)
_WIDEST_ZONE: Final = timedelta(hours=14)
_SLACK: Final = timedelta(minutes=5)

Spans = Mapping[str, Span | NoPointError]
Sifted = tuple[list[RecoveryPoint], list[Refused]]


def point(
    name: str, span: Span, *, zone: Zone, at: datetime, dated_by: DatedBy = DatedBy.NAME, size: int | None = None
) -> RecoveryPoint:
    """Return the point of a name. Raises NoPointError where it lies later than `at`."""
    if span.earliest > at:
        raise NoPointError(f"it lies in the future: {span.earliest.astimezone(UTC):%Y-%m-%dT%H:%M:%SZ}")
    return RecoveryPoint(
        name=name,
        earliest=span.earliest,
        latest=min(span.latest, at),
        assumed_zone=zone.words if span.assumed else None,
        dated_by=dated_by,
        size=size,
    )


def sifted(values: Iterable[_T], make: Callable[[_T], RecoveryPoint], name: Callable[[_T], str | bytes]) -> Sifted:
    """Make a point of each value; one that is none is kept with the reason."""
    points: list[RecoveryPoint] = []
    refused: list[Refused] = []
    for value in values:
        try:
            points.append(make(value))
        except NoPointError as why:
            refused.append((visible(name(value)), str(why)))
    return points, refused


def told(span: Span | NoPointError) -> Span:
    """Return a span. Raises the NoPointError in its place."""
    if isinstance(span, NoPointError):
        raise span
    return span


def point_list(
    address: Address, at: datetime, points: Iterable[RecoveryPoint], refused: Iterable[Refused]
) -> PointList:
    """Return all of it, oldest first; of two that name one instant the first in the order of names stands."""
    kept: dict[tuple[datetime, datetime], RecoveryPoint] = {}
    doubles = []
    for each in sorted(points, key=lambda each: (each.earliest, each.latest, each.name)):
        first = kept.setdefault((each.earliest, each.latest), each)
        if first is not each:
            doubles.append((visible(each.name), f"it names the same instant as {visible(first.name)}"))
    whole, thin = _without_shrunk(kept.values())
    why = [(visible(each.name), reason) for each, reason in thin]
    return PointList(
        address=address,
        at=at,
        points=whole,
        refused=tuple(sorted([*refused, *doubles, *why])),
        thin=tuple(each for each, _ in thin),
    )


def without_complaints(found: PointList, failed: Mapping[str, str]) -> PointList:
    """Refuse the points that hold nothing but an error message: `failed` gives its words by the point's name."""
    why = {name: f"it begins like an error message: “{words}”" for name, words in failed.items()}
    thin = [replace(each, doubts=(why[each.name],)) for each in found.points if each.name in why]
    return replace(
        found,
        points=tuple(each for each in found.points if each.name not in why),
        refused=tuple(sorted([*found.refused, *((visible(each.name), each.doubts[0]) for each in thin)])),
        thin=(*found.thin, *thin),
    )


def _without_shrunk(
    points: Iterable[RecoveryPoint],
) -> tuple[tuple[RecoveryPoint, ...], list[tuple[RecoveryPoint, str]]]:
    """Refuse a point that holds nothing, or far less than those before it: what ended early is no recovery point."""
    whole: list[RecoveryPoint] = []
    thin: list[tuple[RecoveryPoint, str]] = []
    sizes: list[int] = []
    for each in points:
        usual = median(sizes[-SHRUNK:]) if sizes else 0
        if each.size == 0:
            thin.append((each, "it is empty"))
        elif each.size is not None and each.size * SHRUNK < usual:
            thin.append((each, f"it has {each.size} bytes; the median of those before it is {usual:.0f}"))
        else:
            whole.append(each)
            sizes += [] if each.size is None else [each.size]
    return tuple(whole), thin


def apart(recorded: datetime, span: Span) -> timedelta:
    """Return how far the recorded time lies outside what a name means, but for a zone's offset taken wrongly.

    A difference of whole hours, up to 14, is what a name in another zone shows.
    """
    outside = max(span.earliest - recorded, recorded - span.latest, timedelta(0))
    part = outside % _HOUR
    if outside <= _WIDEST_ZONE + _SLACK and min(part, _HOUR - part) <= _SLACK:
        return timedelta(0)
    return outside

"""Small pictures of many days, as SVG path data in units of days (pure geometry).

A picture is stretched to its place's width, so nothing in it has a stroke or a shape that would suffer from that. What
stands up is what asks for a look: a conforming day is a thin line at the foot, an unverified one a block of half the
height, a nonconforming one a block of the whole; a day without an audit leaves the foot empty and hangs from
the top, and so does one on which a figure was not known.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from itertools import groupby
from typing import Final, TypeVar

from coverage_audit.reports.days import DayState, Span

HIGH: Final = 40
"""Height of a line's picture, in its own units."""
_BLOCKS: Final[Mapping[DayState, tuple[int, int]]] = {  # from above and height, of a strip's 12 units
    DayState.CONFORMING: (10, 2),
    DayState.UNVERIFIED: (6, 6),
    DayState.NONCONFORMING: (0, 12),
    DayState.NO_AUDIT: (0, 3),
}
_HEADROOM: Final = 6
_CAP: Final = 4
_T = TypeVar("_T")


@dataclass(frozen=True, kw_only=True)
class Strip:
    """Days in a row, `width` of them; for each state that is there the path of its blocks."""

    width: int
    blocks: tuple[tuple[DayState, str], ...]


@dataclass(frozen=True, kw_only=True)
class Line:
    """A figure over `width` days: the area beneath it, and the days on which it was not known."""

    width: int
    area: str
    unknown: str


@dataclass(frozen=True, kw_only=True)
class Tick:
    """The first day of a month: its number in the span, where that is in per cent of the width, and its name."""

    day: int
    at: float
    word: str


def strip(states: Sequence[DayState]) -> Strip:
    """Draw states as blocks, one path for each state."""
    found: dict[DayState, list[str]] = {}
    for state, begin, length in _runs(states):
        if state in _BLOCKS:
            top, height = _BLOCKS[state]
            found.setdefault(state, []).append(f"M{begin} {top}h{length}v{height}h-{length}z")
    return Strip(width=len(states), blocks=tuple((state, "".join(parts)) for state, parts in found.items()))


def line(values: Sequence[int | None], *, top: int | None = None) -> Line:
    """Draw figures as steps above zero, the largest (or `top`) near the upper edge; None: it was not known."""
    most = max(top or 0, *(value or 0 for value in values), 1)
    area, unknown = [], []
    for value, begin, length in _runs([_height(value, most) for value in values]):
        if value is None:
            unknown.append(f"M{begin} 0h{length}v{_CAP}h-{length}z")
        elif value:
            area.append(f"M{begin} {HIGH}v-{value}h{length}v{value}z")
    return Line(width=len(values), area="".join(area), unknown="".join(unknown))


def months(span: Span) -> tuple[Tick, ...]:
    """Return where months begin."""
    begins = ((number, day) for number, day in enumerate(span.all()) if day.day == 1)
    return tuple(Tick(day=number, at=round(100 * number / span.days, 2), word=f"{day:%b}") for number, day in begins)


def by_month(days: Iterable[date]) -> Iterator[tuple[str, tuple[int, ...]]]:
    """Yield each month with the numbers of its days among these, in the order given."""
    for month, group in groupby(enumerate(days), lambda each: f"{each[1]:%b %Y}"):
        yield month, tuple(number for number, _ in group)


def _height(value: int | None, most: int) -> int | None:
    """Return a figure's height; whatever is more than nothing can be seen."""
    if not value:
        return value
    return max(round((HIGH - _HEADROOM) * value / most), 1)


def _runs(values: Sequence[_T]) -> Iterator[tuple[_T, int, int]]:
    begin = 0
    for value, group in groupby(values):
        length = sum(1 for _ in group)
        yield value, begin, length
        begin += length

"""Cutting two manifests into windows that can be compared one at a time.

Groups of rows that are equal on both sides need no reading. What lies between them is compared in windows: all
rows of both sides that can match each other are in the same window, because both manifests are in tree order.
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from coverage_audit.evidence.order import tree_key
from coverage_audit.evidence.store import Group


@dataclass(frozen=True, kw_only=True)
class Window:
    """Groups of either side (by number, rising) that are compared together.

    Rows whose path lies before `low` or not before `high`, in tree order, belong to a neighbouring window;
    None: no such limit.
    """

    original: tuple[int, ...]
    copy: tuple[int, ...]
    low: bytes | None = None
    high: bytes | None = None


@dataclass(frozen=True, kw_only=True)
class Stretch:
    """Groups `[start, stop)` of either side that lie between two pairs of equal groups."""

    original: range
    copy: range


def equal_groups(original: Sequence[Group], copy: Sequence[Group]) -> tuple[tuple[int, int], ...]:
    """Return the pairs of groups (original's number, copy's number) that hold the same rows, rising on both sides.

    One that holds hollow files in the copy is not among them: the original's may not be hollow.
    """
    there = {(group.first, group.digest): number for number, group in enumerate(copy) if not group.hollow}
    found = ((number, there.get((group.first, group.digest))) for number, group in enumerate(original))
    return tuple((mine, other) for mine, other in found if other is not None)


def windows(
    original: Sequence[Group], copy: Sequence[Group], equal: Sequence[tuple[int, int]], rows: int
) -> Iterator[Window]:
    """Yield the windows over all groups that are not in `equal`, each of about `rows` rows a side at most."""
    gathered: list[Stretch] = []
    room = rows
    for stretch in _stretches(len(original), len(copy), equal):
        needed = _most_rows(stretch, original, copy)
        if needed > room:
            yield from _joined(gathered)
            gathered, room = [], rows
        if needed > rows:
            yield from _split(stretch, original, copy, rows)
        else:
            gathered.append(stretch)
            room -= needed
    yield from _joined(gathered)


def _stretches(original: int, copy: int, equal: Sequence[tuple[int, int]]) -> Iterator[Stretch]:
    mine = other = 0
    for next_mine, next_other in [*equal, (original, copy)]:
        if next_mine > mine or next_other > other:
            yield Stretch(original=range(mine, next_mine), copy=range(other, next_other))
        mine, other = next_mine + 1, next_other + 1


def _most_rows(stretch: Stretch, original: Sequence[Group], copy: Sequence[Group]) -> int:
    return max(
        sum(original[number].rows for number in stretch.original), sum(copy[number].rows for number in stretch.copy)
    )


def _joined(stretches: Sequence[Stretch]) -> Iterator[Window]:
    """Stretches that are small enough share a window: their rows cannot match across, and each window costs."""
    if stretches:
        yield Window(
            original=tuple(number for stretch in stretches for number in stretch.original),
            copy=tuple(number for stretch in stretches for number in stretch.copy),
        )


def _split(stretch: Stretch, original: Sequence[Group], copy: Sequence[Group], rows: int) -> Iterator[Window]:
    mine = _Side(original, stretch.original)
    other = _Side(copy, stretch.copy)
    low: bytes | None = None
    while True:
        ends = [end for end in (mine.end(low, rows), other.end(low, rows)) if end is not None]
        high = _aligned(min(ends), low, mine, other) if ends else None
        yield Window(
            original=mine.between(low, high),
            copy=other.between(low, high),
            low=None if low is None else _path(low),
            high=None if high is None else _path(high),
        )
        if high is None:
            return
        low = high


def _aligned(high: bytes, low: bytes | None, mine: _Side, other: _Side) -> bytes:
    """Move a limit back to where groups of both sides begin, if that is near: then no group is read twice."""
    common = [start for start in mine.last_starts(low, high) if other.starts_at(start)]
    return common[-1] if common else high


def _path(key: bytes) -> bytes:
    return key.replace(b"\0", b"/")


class _Side:
    """The groups of one side within a stretch, found by the tree key of their first path."""

    NEAR = 16  # groups that a limit may move back

    def __init__(self, groups: Sequence[Group], numbers: range) -> None:
        self._numbers = numbers
        self._starts = [tree_key(groups[number].first) for number in numbers]
        self._rows = [groups[number].rows for number in numbers]

    def end(self, low: bytes | None, rows: int) -> bytes | None:
        """Return the last group start at which fewer than `rows` rows lie behind `low` (at least one group)."""
        first = 0 if low is None else bisect_left(self._starts, low)
        total = 0
        for place in range(first, len(self._starts)):
            if total + self._rows[place] > rows and place > first:
                return self._starts[place]
            total += self._rows[place]
        return None

    def last_starts(self, low: bytes | None, high: bytes) -> Sequence[bytes]:
        """Return the last few group starts after `low` and not after `high`."""
        stop = bisect_right(self._starts, high)
        first = 0 if low is None else bisect_right(self._starts, low)
        return self._starts[max(first, stop - self.NEAR, 1 if low is None else 0) : stop]

    def starts_at(self, start: bytes) -> bool:
        """Whether a group begins there."""
        place = bisect_left(self._starts, start)
        return place < len(self._starts) and self._starts[place] == start

    def between(self, low: bytes | None, high: bytes | None) -> tuple[int, ...]:
        """Return the numbers of all groups that can hold a path in `[low, high)`."""
        first = 0 if low is None else max(0, bisect_right(self._starts, low) - 1)
        stop = len(self._starts) if high is None else bisect_left(self._starts, high)
        return tuple(self._numbers[first:stop])

"""A tree in stretches: told, being walked, or left; so that what several walkers tell comes out in tree order."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from itertools import count
from typing import Any, Final

from coverage_audit.collectors.local_walk.messages import Stretch
from coverage_audit.collectors.transport import TransportError
from coverage_audit.evidence.facts import GapKind

FOLDERS_AT_ONCE: Final = 512  # in one stretch at most: enough work for a walker, little to hold back
_SHARES: Final = 4  # what is left is handed out in so many parts, for each may be large and all walkers want work
_MOST_HELD: Final = 64 << 20  # bytes of rows that wait for rows before them


@dataclass(kw_only=True)
class _Part:
    """A part of the tree. `number` is set while it is being walked; `left` is what nobody walks yet."""

    number: int | None = None
    left: Stretch | None = None
    blocks: list[Any] = field(default_factory=list)
    rows: int = 0


class Sequence:
    """The parts in tree order. It begins as the whole tree, being walked under number 0."""

    def __init__(self) -> None:
        self._parts = [_Part(number=0)]
        self._numbers = count(1)
        self._held = 0

    @property
    def is_told(self) -> bool:
        """Whether nothing is being walked or left, and all rows were taken."""
        return not self._parts

    def next_stretch(self) -> tuple[int, Stretch] | None:
        """Return the first stretch that is left, with its number; None where there is none or too much is held."""
        for place, part in enumerate(self._parts):
            if part.left is not None:
                if place and self._held > _MOST_HELD:
                    return None
                first, after = _divided(part.left)
                number = next(self._numbers)
                self._parts[place : place + 1] = [
                    _Part(number=number),
                    *([_Part(left=after)] if after is not None else []),
                ]
                return number, first
        return None

    def take(self, number: int, rows: int, block: Any) -> None:
        """Take rows that a walker told of its stretch."""
        part = self._parts[self._place(number)]
        part.blocks.append(block)
        part.rows += rows
        self._held += _weight(block)

    def end(self, number: int, rows: int, left: Stretch | None) -> None:
        """Take the end of a stretch. Raises TransportError where its rows are not as many as the walker counts."""
        place = self._place(number)
        part = self._parts[place]
        if part.rows != rows:
            raise TransportError(GapKind.MALFORMED, f"a walker told {rows} rows and {part.rows} came")
        part.number = None
        if left is not None:
            self._parts.insert(place + 1, _Part(left=left))

    def ready(self) -> Iterator[Any]:
        """Yield the blocks whose turn it is."""
        while self._parts:
            part = self._parts[0]
            for block in part.blocks:
                self._held -= _weight(block)
                yield block
            part.blocks = []
            if part.number is not None or part.left is not None:
                return
            del self._parts[0]

    def _place(self, number: int) -> int:
        return next(place for place, part in enumerate(self._parts) if part.number == number)


def _divided(stretch: Stretch) -> tuple[Stretch, Stretch | None]:
    paths, facts, opens, targets = stretch
    folders = min(FOLDERS_AT_ONCE, max(1, len(opens) // _SHARES))
    if len(opens) <= folders:
        return stretch, None
    end, _inode = opens[folders]
    first: Stretch = (paths[:end], facts[:end], opens[:folders], {})
    after: Stretch = (paths[end:], facts[end:], [(place - end, inode) for place, inode in opens[folders:]], {})
    if targets:
        for part in (first, after):
            part[3].update((path, targets[path]) for path in part[0] if path in targets)
    return first, after


def _weight(block: Any) -> int:
    _count, paths, numbers, _targets = block
    return len(paths) + len(numbers)

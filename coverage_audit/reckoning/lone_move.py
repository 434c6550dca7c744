"""One large move in a short series, or at the ends of a long one, where the moves of weeks cannot show it."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from itertools import pairwise
from statistics import median
from typing import Final

_EDGE: Final = 7
_SHORT: Final = 20
"""In so many values and more, what lies between the first and the last week shows in the weeks around it."""
_DAYS_AT_MOST: Final = 3
_FAR: Final = 3.0
"""So many times farther from the usual change than any other a lone move is (the project's own choice)."""


def lone_move(values: Sequence[float], known: Sequence[int] = ()) -> tuple[int, ...]:
    """Return the places before each change of one large move that took up to three days (empty: there is none).

    `values` is one a day. `known` are places of moves known already: changes within a week of them are no measure of
    what is usual. A second change as large makes it a habit: that is growth.
    """
    changes = [later - earlier for earlier, later in pairwise(values)]
    if not changes:
        return ()
    usual = median(changes)
    off = [change - usual for change in changes]
    found: tuple[float, tuple[int, ...]] = (0.0, ())
    for length in range(1, _DAYS_AT_MOST + 1):
        runs = {at: abs(sum(off[at : at + length])) for at in range(len(off) - length + 1)}
        at = max(_open_to(runs, len(values)), key=lambda place: runs[place], default=None)
        if at is None:
            continue
        others = [
            size for place, size in runs.items() if abs(place - at) >= length and not _beside(place, length, known)
        ]
        if others and runs[at] > _FAR * max(others) and runs[at] > found[0]:
            found = (runs[at], tuple(range(at + 1, at + length + 1)))
    return found[1]


def _open_to(runs: Iterable[int], count: int) -> Iterable[int]:
    """Return the places at which a move is looked for."""
    if count < _SHORT:
        return runs
    return [at for at in runs if at < _EDGE or at >= count - 1 - _EDGE]


def _beside(place: int, length: int, known: Sequence[int]) -> bool:
    return any(move - _EDGE <= place + length and place <= move + _EDGE for move in known)

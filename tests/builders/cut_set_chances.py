"""How likely cut sets are, to hold them against the published totals of fault trees.

The failures are taken to be independent of each other. All chances are shares between 0 and 1 over one and the same
time. For minimal cut sets of a coherent structure exact <= MCUB <= sum of the sets.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Collection, Mapping
from math import prod

Sets = Collection[frozenset[str]]


def sum_of_sets(sets: Sets, chances: Mapping[str, float]) -> float:
    """Return the sum of the sets' chances, the rare-event approximation: never too low, and it may exceed 1."""
    return sum(chance_of_set(members, chances) for members in sets)


def upper_bound(sets: Sets, chances: Mapping[str, float]) -> float:
    """Return the minimal cut upper bound (MCUB): as if the sets were independent of each other."""
    return 1 - prod(1 - chance_of_set(members, chances) for members in sets)


def chance_of_set(members: frozenset[str], chances: Mapping[str, float]) -> float:
    """Return the chance that all of a set happen. Raises KeyError where the chance of one is not given."""
    return prod(chances[name] for name in members)


def exact_chance(sets: Sets, chances: Mapping[str, float]) -> float:
    """Return the chance that at least one of the sets happens, by splitting on one failure after the other.

    Shannon's expansion, with equal remainders reckoned once. For some hundred sets of some dozen failures; its work
    can grow with two to the power of the failures. Raises KeyError where the chance of one is not given.
    """
    often = Counter(name for members in sets for name in members)
    order = sorted(often, key=lambda name: (-often[name], name))
    place = {name: number for number, name in enumerate(order)}
    rows = frozenset(frozenset(place[name] for name in members) for members in sets)
    return _split(rows, [chances[name] for name in order], {})


def _split(
    rows: frozenset[frozenset[int]], chances: list[float], known: dict[frozenset[frozenset[int]], float]
) -> float:
    if not rows:
        return 0.0
    if frozenset() in rows:
        return 1.0
    if rows not in known:
        first = min(min(row) for row in rows)
        without = frozenset(row for row in rows if first not in row)
        with_it = without | {row - {first} for row in rows if first in row}
        chance = chances[first]
        known[rows] = chance * _split(with_it, chances, known) + (1 - chance) * _split(without, chances, known)
    return known[rows]

"""Minimal cut sets: the smallest sets of failures that together lose something.

Worked from the leaves up, as in the method of obtaining cut sets (Fussell and Vesely, Trans. Am. Nucl. Soc. 15, 1972)
with absorption at every gate. Sets are whole numbers with one bit for each failure. In a coherent structure a set only
grows on its way up, so that sets of more than the wanted order may be dropped on the spot: what is left is complete up
to that order.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from coverage_audit.reckoning.fault_tree import Event, Gate, Tree


def minimal_cut_sets(tree: Tree, at_most: int | None = None) -> frozenset[frozenset[str]]:
    """Return the minimal cut sets of the tree, those of at most so many events (None: all of them).

    The empty set alone means that the top holds without any failure; no set, that it never does (up to that order).
    """
    walk = _Walk(at_most)
    found = walk.sets_of(tree)
    return frozenset(_members(mask, walk.names) for mask in found)


class _Walk:
    """One walk over a tree that numbers its events and works each gate once, however often it is used."""

    def __init__(self, at_most: int | None) -> None:
        self.names: list[str] = []
        self._bits: dict[str, int] = {}
        self._at_most = at_most
        self._done: dict[int, list[int]] = {}  # by the gate's identity: the caller holds the tree meanwhile

    def sets_of(self, tree: Tree) -> list[int]:
        if isinstance(tree, Event):
            return self._of_event(tree)
        if id(tree) not in self._done:
            self._done[id(tree)] = self._of_gate(tree)
        return self._done[id(tree)]

    def _of_event(self, event: Event) -> list[int]:
        if event.name not in self._bits:
            self._bits[event.name] = 1 << len(self.names)
            self.names.append(event.name)
        return [] if self._at_most is not None and self._at_most < 1 else [self._bits[event.name]]

    def _of_gate(self, gate: Gate) -> list[int]:
        """Work "at least k of n" input by input: reached[j] holds the sets by which j of those before hold."""
        wanted = max(gate.at_least, 0)
        reached: list[list[int]] = [[0], *([] for _ in range(wanted))]
        for place, part in enumerate(gate.inputs):
            sets = self.sets_of(part)
            least = wanted - (len(gate.inputs) - place - 1)  # fewer than these can no longer become enough
            for so_many in range(min(wanted, place + 1), max(least, 1) - 1, -1):
                with_it = _product(reached[so_many - 1], sets, self._at_most)
                reached[so_many] = _minimal([*reached[so_many], *with_it])
        return reached[wanted]


def _product(some: Sequence[int], others: Sequence[int], at_most: int | None) -> list[int]:
    """Return the minimal unions of one of each.

    A set that holds one of the other side is such a union by itself, and whatever else it is joined to only adds to it.
    """
    mine, theirs = set(some), set(others)
    alone = {mask for mask in mine if _holds_one_of(theirs, mask)}
    alone |= {mask for mask in theirs if _holds_one_of(mine, mask)}
    unions = alone.union(one | other for one in mine - alone for other in theirs - alone)
    return _minimal(mask for mask in unions if at_most is None or mask.bit_count() <= at_most)


def _minimal(sets: Iterable[int]) -> list[int]:
    """Return the sets of which no other is a part."""
    kept: set[int] = set()
    for mask in sorted(set(sets), key=int.bit_count):
        if not _holds_one_of(kept, mask):
            kept.add(mask)
    return sorted(kept)


def _holds_one_of(kept: set[int], mask: int) -> bool:
    """Return whether one of the kept sets is a part of this one: by going through the fewer of parts and kept sets."""
    if len(kept) < 1 << mask.bit_count():
        return any(part & mask == part for part in kept)
    part = mask
    while part not in kept:
        if part == 0:
            return False
        part = (part - 1) & mask
    return True


def _members(mask: int, names: Sequence[str]) -> frozenset[str]:
    return frozenset(names[number] for number in range(mask.bit_length()) if mask >> number & 1)

"""The largest set of a graph's vertices of which no two are joined: exact, by branch and bound.

The reduction (a vertex with at most one neighbour may always be taken) and the branching on the vertex with
the most neighbours are those of Tarjan and Trojanowski, "Finding a maximum independent set", SIAM J. Comput.
6 (1977) (from memory). Some twenty vertices take well under a millisecond.
"""

from __future__ import annotations

from collections.abc import Sequence


def largest_independent_set(neighbours: Sequence[frozenset[int]]) -> tuple[int, ...]:
    """Return the vertices of one largest set, in ascending order; the same graph gives the same set.

    `neighbours[i]` holds the numbers of the vertices joined to vertex i. Raises ValueError where the graph is
    not symmetric or a vertex is its own neighbour: such a graph says nothing.
    """
    masks = [_mask(vertex, joined, neighbours) for vertex, joined in enumerate(neighbours)]
    best = _search(masks, (1 << len(masks)) - 1, 0, 0)
    return tuple(vertex for vertex in range(len(masks)) if best >> vertex & 1)


def _mask(vertex: int, joined: frozenset[int], neighbours: Sequence[frozenset[int]]) -> int:
    if vertex in joined or any(vertex not in neighbours[other] for other in joined):
        raise ValueError(f"vertex {vertex} and its neighbours disagree about who is joined to whom")
    return sum(1 << other for other in joined)


def _search(masks: Sequence[int], left: int, taken: int, best: int) -> int:
    """Return the better of `best` and the best set that `taken` grows to with vertices of `left`."""
    if not left:
        return taken if taken.bit_count() > best.bit_count() else best
    if taken.bit_count() + left.bit_count() <= best.bit_count():
        return best
    degrees = [((masks[vertex] & left).bit_count(), vertex) for vertex in range(len(masks)) if left >> vertex & 1]
    fewest, lone = min(degrees)
    if fewest <= 1:
        return _search(masks, left & ~masks[lone] & ~(1 << lone), taken | 1 << lone, best)
    _, crowded = max(degrees)
    rest = left & ~(1 << crowded)
    best = _search(masks, rest & ~masks[crowded], taken | 1 << crowded, best)
    return _search(masks, rest, taken, best)

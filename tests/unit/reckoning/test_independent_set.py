"""Checked against trying every subset, and against graphs whose answer is known (graph theory, from memory)."""

from __future__ import annotations

from itertools import combinations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from coverage_audit.reckoning.independent_set import largest_independent_set


def a_graph(size: int, edges: set[tuple[int, int]]) -> list[frozenset[int]]:
    return [frozenset(j for j in range(size) if (min(i, j), max(i, j)) in edges) for i in range(size)]


@st.composite
def graphs(draw: st.DrawFn) -> list[frozenset[int]]:
    size = draw(st.integers(0, 8))
    pairs = list(combinations(range(size), 2))
    edges = draw(st.sets(st.sampled_from(pairs)) if pairs else st.just(set[tuple[int, int]]()))
    return a_graph(size, edges)


def by_every_subset(graph: list[frozenset[int]]) -> int:
    numbers = range(len(graph))
    return max(
        len(subset)
        for size in range(len(graph) + 1)
        for subset in combinations(numbers, size)
        if all(b not in graph[a] for a, b in combinations(subset, 2))
    )


@given(graphs())
def test_no_subset_is_larger_than_the_set_found(graph: list[frozenset[int]]) -> None:
    found = largest_independent_set(graph)

    assert len(found) == by_every_subset(graph)
    assert all(b not in graph[a] for a, b in combinations(found, 2))


def test_of_no_vertices_the_largest_set_is_empty() -> None:
    assert largest_independent_set([]) == ()


def test_a_ring_of_five_gives_two_and_its_complete_graph_one() -> None:
    ring = a_graph(5, {(0, 1), (1, 2), (2, 3), (3, 4), (0, 4)})
    complete = a_graph(5, set(combinations(range(5), 2)))

    assert len(largest_independent_set(ring)) == 2
    assert len(largest_independent_set(complete)) == 1


def test_the_petersen_graph_gives_four() -> None:
    outer = {(i, (i + 1) % 5) for i in range(5)}
    inner = {(5 + i, 5 + (i + 2) % 5) for i in range(5)}
    spokes = {(i, i + 5) for i in range(5)}
    edges = {(min(a, b), max(a, b)) for a, b in outer | inner | spokes}

    assert len(largest_independent_set(a_graph(10, edges))) == 4


def test_twenty_places_of_which_most_pairs_are_joined_are_no_trouble() -> None:
    edges = {pair for pair in combinations(range(20), 2) if sum(pair) % 3}

    assert len(largest_independent_set(a_graph(20, edges))) == by_every_subset(a_graph(20, edges))


@pytest.mark.parametrize("graph", [[frozenset({0})], [frozenset({1}), frozenset()]])
def test_a_graph_that_contradicts_itself_is_refused(graph: list[frozenset[int]]) -> None:
    with pytest.raises(ValueError, match="disagree"):
        largest_independent_set(graph)

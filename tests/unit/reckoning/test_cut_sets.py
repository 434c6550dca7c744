"""Minimal cut sets of published fault trees, and against all subsets of small random ones."""

from __future__ import annotations

import time
from collections import Counter
from collections.abc import Sequence
from itertools import combinations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from coverage_audit.reckoning.cut_sets import minimal_cut_sets
from coverage_audit.reckoning.fault_tree import Event, Gate, Tree, all_of, any_of, holds
from tests.builders.fault_trees import (
    BAOBAB_2,
    CHINESE,
    LIFT,
    PRESSURE_TANK,
    PUMPS,
    THREE_MOTOR,
    THREE_MOTOR_TIMERS_HOLD,
    VESELY,
    tree_of,
)

Sets = frozenset[frozenset[str]]

_NAMES = "abcdef"


def sets_of(text: str) -> Sets:
    """Return the sets that a line like "A,B C" names: A with B, and C alone."""
    return frozenset(frozenset(one.split(",")) for one in text.split())


_PAIRS_OF_PUMPS = " ".join(
    f"{one},{other}" for one in ["S4", "P4", "E4", "P5", "S5", "S6", "P6", "E6"] for other in ("S3", "P3", "E3")
)

# By the sources that tests.builders.fault_trees names; the last five are textbook algebra.
_PUBLISHED = {
    "pressure tank, NUREG-0492": (PRESSURE_TANK, "T K2 S,S1 S,K1 S,R"),
    "pumps, NUREG-0492": (PUMPS, f"P1 S1 E1 P2 S2 {_PAIRS_OF_PUMPS}"),
    "Vesely 1970": (VESELY, "1,2 1,3 2,3 4,5 4,6 5,6"),
    "lift, SCRAM": (LIFT, "LMD_1 DPD_1 PS_1 DOD_1 D_1 DMS_2 CP_1 LMD_2 LPD_1 DM_1 DOD_2 DMS_1"),
    "theatre supply, SCRAM": ("TOP all MAINS BACKUP\nBACKUP any GEN RELAY", "MAINS,GEN MAINS,RELAY"),
    "two trains, SCRAM": ("TOP all A B\nA any V1 P1\nB any V2 P2", "V1,V2 V1,P2 P1,V2 P1,P2"),
    "two of three": ("TOP 2 A B C", "A,B A,C B,C"),
    "bridge": (
        "TOP any P Q R S\nP all A D\nQ all B E\nR all A C E\nS all B C D",
        "A,D B,E A,C,E B,C,D",
    ),
    "absorption": ("TOP any A AB\nAB all A B", "A"),
    "distribution": ("TOP all L R\nL any A B\nR any A C", "A B,C"),
    "a shared event": ("TOP any L R\nL all A B\nR all B C", "A,B B,C"),
}


@pytest.mark.parametrize("case", _PUBLISHED)
def test_a_published_tree_has_the_cut_sets_published_with_it(case: str) -> None:
    text, expected = _PUBLISHED[case]

    assert minimal_cut_sets(tree_of(text)) == sets_of(expected)


def test_the_three_motor_circuit_has_twelve_cut_sets_while_its_timers_hold() -> None:
    # SCRAM's expectation for its input "three_motor": orders 1, 2 and 4.
    found = minimal_cut_sets(tree_of(THREE_MOTOR_TIMERS_HOLD))

    assert Counter(len(members) for members in found) == {1: 1, 2: 3, 4: 8}


def test_the_three_motor_circuit_has_fifty_four_with_its_timers_as_basic_events() -> None:
    # Published analysis of the circuit with 18 basic events; its sets of two and three are named there.
    found = minimal_cut_sets(tree_of(THREE_MOTOR))

    assert Counter(len(members) for members in found) == {2: 7, 3: 3, 4: 2, 5: 26, 7: 16}
    assert minimal_cut_sets(tree_of(THREE_MOTOR), 3) == sets_of(
        "K1,K5 K1,T2 K2,K5 K5,S1 K5,T1 K5,T3 S1,T2 K2,T1inc,T2 T1,T1inc,T2 T1inc,T2,T3"
    )


@pytest.mark.parametrize(
    ("tree", "orders"),
    # The Aralia benchmark's published table: 392 and 4,805 minimal cut sets. How those of "chinese" are spread over the
    # orders was reckoned with a binary decision diagram; how those of "baobab2" are is what came out here.
    [(CHINESE, {2: 12, 4: 24, 5: 188, 6: 168}), (BAOBAB_2, {2: 6, 3: 121, 4: 268, 5: 630, 6: 3780})],
    ids=["chinese", "baobab2"],
)
def test_a_large_published_tree_has_as_many_as_its_table_says(tree: str, orders: dict[int, int]) -> None:
    found = minimal_cut_sets(tree_of(tree))

    assert Counter(len(members) for members in found) == orders
    assert sum(orders.values()) in {392, 4805}


def test_a_tree_that_needs_no_failure_has_the_empty_set_and_one_that_never_holds_has_none() -> None:
    assert minimal_cut_sets(all_of()) == {frozenset()}
    assert minimal_cut_sets(any_of()) == frozenset()
    assert minimal_cut_sets(any_of(Event(name="a"), all_of())) == {frozenset()}
    assert minimal_cut_sets(Gate(at_least=3, inputs=(Event(name="a"), Event(name="b")))) == frozenset()


def test_no_failure_at_all_is_no_cut_where_one_is_needed() -> None:
    assert minimal_cut_sets(Event(name="a"), 0) == frozenset()
    assert minimal_cut_sets(all_of(), 0) == {frozenset()}


def _gates(parts: st.SearchStrategy[Tree]) -> st.SearchStrategy[Tree]:
    inputs = st.lists(parts, min_size=1, max_size=4).map(tuple)
    return inputs.flatmap(lambda some: st.integers(1, len(some)).map(lambda least: Gate(at_least=least, inputs=some)))


trees = st.recursive(st.sampled_from(_NAMES).map(lambda name: Event(name=name)), _gates, max_leaves=14)


def by_brute_force(tree: Tree, at_most: int) -> Sets:
    """Return the minimal cut sets by asking of every subset of all failures whether it is one."""
    subsets = [frozenset(some) for size in range(len(_NAMES) + 1) for some in combinations(_NAMES, size)]
    cuts = [failed for failed in subsets if holds(tree, failed)]
    minimal = {cut for cut in cuts if not any(other < cut for other in cuts)}
    return frozenset(cut for cut in minimal if len(cut) <= at_most)


@given(trees, st.integers(0, len(_NAMES)))
def test_cut_sets_are_those_that_a_search_of_all_subsets_finds(tree: Tree, at_most: int) -> None:
    assert minimal_cut_sets(tree, at_most) == by_brute_force(tree, at_most)


@given(trees)
def test_each_cut_set_is_a_cut_and_is_none_without_any_one_of_its_members(tree: Tree) -> None:
    found = minimal_cut_sets(tree)

    assert found == by_brute_force(tree, len(_NAMES))
    for members in found:
        assert holds(tree, members)
        assert not any(holds(tree, members - {name}) for name in members)
        assert not any(other < members for other in found)


def losing_all(places: Sequence[frozenset[str]]) -> Tree:
    """Return the tree of a dataset that is lost when each of its copies falls, each with any domain of its place."""
    return all_of(*(any_of(*(Event(name=name) for name in sorted(place))) for place in places))


@given(st.lists(st.frozensets(st.sampled_from(_NAMES), max_size=5), max_size=5), st.integers(0, 6))
def test_a_dataset_is_lost_by_the_smallest_sets_that_hit_every_copy(places: list[frozenset[str]], at_most: int) -> None:
    subsets = [frozenset(some) for size in range(len(_NAMES) + 1) for some in combinations(_NAMES, size)]
    hitting = [some for some in subsets if all(some & place for place in places)]
    smallest = {some for some in hitting if not any(other < some for other in hitting)}

    assert minimal_cut_sets(losing_all(places), at_most) == {some for some in smallest if len(some) <= at_most}
    assert minimal_cut_sets(losing_all(places)) == smallest


def test_two_copies_in_one_room_are_lost_with_the_room_or_box_by_box() -> None:
    tree = losing_all([frozenset({"kestrel", "hut"}), frozenset({"heron", "hut"})])

    assert minimal_cut_sets(tree, 3) == {frozenset({"hut"}), frozenset({"kestrel", "heron"})}


def test_a_copy_that_falls_with_nothing_is_never_lost_and_without_a_copy_all_is_lost_already() -> None:
    assert minimal_cut_sets(losing_all([frozenset({"hut"}), frozenset()]), 3) == frozenset()
    assert minimal_cut_sets(losing_all([]), 3) == {frozenset()}


def test_sixty_datasets_in_forty_domains_take_well_under_the_seconds_that_a_page_may_take() -> None:
    """Each dataset has six copies, each of which falls with any of ten domains: far more than an estate has."""
    began = time.process_time()
    for dataset in range(60):
        places = [frozenset(str((dataset * 7 + copy * 11 + step * 3) % 40) for step in range(10)) for copy in range(6)]
        assert minimal_cut_sets(losing_all(places), 3)

    assert time.process_time() - began < 3  # some 0.1 s here

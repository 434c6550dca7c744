"""Chances of cut sets against published fault trees, and the order of the three figures for any tree."""

from __future__ import annotations

from itertools import combinations
from math import prod

import pytest
from hypothesis import given
from hypothesis import strategies as st

from coverage_audit.reckoning.cut_sets import minimal_cut_sets
from tests.builders.cut_set_chances import chance_of_set, exact_chance, sum_of_sets, upper_bound
from tests.builders.fault_trees import (
    BAOBAB_2,
    CHINESE,
    LIFT,
    PRESSURE_TANK,
    THREE_MOTOR,
    THREE_MOTOR_TIMERS_HOLD,
    tree_of,
)

_TANK = {"T": 5e-6, "K2": 3e-5, "S": 1e-4, "S1": 3e-5, "K1": 3e-5, "R": 1e-4}
_THEATRE = "TOP all MAINS BACKUP\nBACKUP any GEN RELAY"
_TWO_TRAINS = "TOP all A B\nA any V1 P1\nB any V2 P2"
_BRIDGE = "TOP any P Q R S\nP all A D\nQ all B E\nR all A C E\nS all B C D"
_ABC = {"A": 0.1, "B": 0.2, "C": 0.3}
_TENTHS = dict.fromkeys("ABCDE", 0.1)
_TRAINS = {"V1": 0.5, "V2": 0.5, "P1": 0.7, "P2": 0.7}

# tree, chances, sum of sets, MCUB, exact. Printed in the sources of tests.builders.fault_trees and SCRAM's expectations
# for its inputs (sum and exact of theatre, three motors, lift, ABC, AB+BC, 2 of 3, two trains); the others reckoned by
# enumeration of all states.
_FIGURES = {
    "pressure tank": (PRESSURE_TANK, _TANK, 3.5016e-5, 3.50158494e-5, 3.50158488e-5),
    "theatre": (_THEATRE, {"MAINS": 0.03, "GEN": 0.02, "RELAY": 0.05}, 2.10e-3, None, 2.07e-3),
    "theatre, report": (_THEATRE, {"MAINS": 0.03, "GEN": 0.0198013, "RELAY": 0.05}, 2.094040e-3, None, 2.064338e-3),
    "two trains": (_TWO_TRAINS, _TRAINS, 1.44, 0.83839375, 0.7225),
    "any of three": ("TOP any A B C", _ABC, 0.6, 0.496, 0.496),
    "a shared event": ("TOP any L R\nL all A B\nR all B C", _ABC, 0.08, 0.0788, 0.074),
    "two of three": ("TOP 2 A B C", _ABC, 0.11, 0.106436, 0.098),
    "two of three alike": ("TOP 2 A B C", _TENTHS, 0.03, 0.029701, 0.028),
    "bridge": (_BRIDGE, _TENTHS, 0.022, 0.0218592, 0.02152),
    "distribution": ("TOP all L R\nL any A B\nR any A C", _ABC, 0.16, None, 0.154),
}

# tree, chance of each event, sum of sets, exact. The Aralia table prints 1.17058E-03 and 7.13018E-04; SCRAM expects
# 0.0212013 and 0.0211538 for the three motors, 0.00272 with the timers as basic events.
_ALIKE = {
    "three motors": (THREE_MOTOR_TIMERS_HOLD, 0.02, 0.0212013, 0.0211538),
    "three motors, timers": (THREE_MOTOR, 0.02, 0.00282440, 0.00272024),
    "lift": (LIFT, 1e-6, 1.2e-5, 1.19999340e-5),
    "chinese": (CHINESE, 0.01, 1.20025897e-3, 1.17058181e-3),
    "baobab2": (BAOBAB_2, 0.01, 7.23746780e-4, 7.13018260e-4),
}


@pytest.mark.parametrize("case", _FIGURES)
def test_a_published_tree_has_the_chances_published_with_it(case: str) -> None:
    text, chances, total, bound, exact = _FIGURES[case]
    sets = minimal_cut_sets(tree_of(text))

    assert sum_of_sets(sets, chances) == pytest.approx(total, rel=1e-6)
    assert bound is None or upper_bound(sets, chances) == pytest.approx(bound, rel=1e-6)
    assert exact_chance(sets, chances) == pytest.approx(exact, rel=1e-6)


@pytest.mark.parametrize("case", _ALIKE)
def test_a_published_tree_of_equal_chances_has_its_published_total(case: str) -> None:
    text, chance, total, exact = _ALIKE[case]
    sets = minimal_cut_sets(tree_of(text))
    chances = dict.fromkeys((name for members in sets for name in members), chance)

    assert sum_of_sets(sets, chances) == pytest.approx(total, rel=5e-6)
    assert exact_chance(sets, chances) == pytest.approx(exact, rel=5e-6)


def test_single_failures_make_up_the_tanks_risk_as_the_handbook_shares_it_out() -> None:
    # NUREG-0492, chapter XI: T 14.3 %, K2 85.7 % (from memory, reproduced).
    total = sum_of_sets(minimal_cut_sets(tree_of(PRESSURE_TANK)), _TANK)

    assert chance_of_set(frozenset({"T"}), _TANK) / total == pytest.approx(0.143, abs=5e-4)
    assert chance_of_set(frozenset({"K2"}), _TANK) / total == pytest.approx(0.857, abs=5e-4)


families = st.frozensets(st.frozensets(st.sampled_from("ABCDE"), min_size=1, max_size=4), max_size=8)


@given(families, st.lists(st.floats(0, 1), min_size=5, max_size=5))
def test_the_exact_chance_is_that_of_all_states_and_neither_bound_is_below_it(
    sets: frozenset[frozenset[str]], figures: list[float]
) -> None:
    chances = dict(zip("ABCDE", figures, strict=True))
    states = [frozenset(some) for size in range(6) for some in combinations("ABCDE", size)]
    lost = [state for state in states if any(members <= state for members in sets)]
    by_states = sum(prod(chances[n] if n in state else 1 - chances[n] for n in "ABCDE") for state in lost)

    exact = exact_chance(sets, chances)

    assert exact == pytest.approx(by_states, abs=1e-9)
    assert exact <= upper_bound(sets, chances) + 1e-9
    assert upper_bound(sets, chances) <= sum_of_sets(sets, chances) + 1e-9


def test_nothing_that_could_be_lost_has_no_chance_and_what_is_lost_already_is_certain() -> None:
    assert exact_chance(frozenset(), {}) == 0
    assert exact_chance(frozenset({frozenset()}), {}) == 1


def test_a_failure_of_unknown_chance_is_not_taken_for_one_that_never_happens() -> None:
    sets = frozenset({frozenset({"A", "B"})})
    for reckoning in (sum_of_sets, upper_bound, exact_chance):
        with pytest.raises(KeyError):
            reckoning(sets, {"A": 0.1})

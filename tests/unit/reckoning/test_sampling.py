"""Sample sizes and bounds against published tables, worked examples and SciPy."""

from __future__ import annotations

import random
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import hypergeom

from coverage_audit.reckoning.sampling import at_most_met, most_differing, none_met, sample_size, state

_95 = Fraction(95, 100)

# Exact values of the hypergeometric distribution (scipy.stats.hypergeom and rational arithmetic agree).
_SIZES = {
    ("1/100", "90/100"): (90, 184, 205, 227, 230),
    ("1/100", "95/100"): (95, 225, 258, 294, 299),
    ("1/100", "99/100"): (99, 300, 368, 448, 459),
    ("5/100", "90/100"): (37, 43, 44, 45, 45),
    ("5/100", "95/100"): (45, 56, 57, 59, 59),
    ("5/100", "99/100"): (59, 83, 86, 90, 90),
}
# AICPA, "Audit Sampling" guide, Appendix A, expected deviation 0 % (cell values from memory, each recomputed as
# ceil(ln(risk) / ln(1 - tolerable)): those tables are for large populations).
_TOLERABLE = (2, 3, 4, 5, 6, 7, 8, 9, 10, 15, 20)
_RISK_5 = (149, 99, 74, 59, 49, 42, 36, 32, 29, 19, 14)
_RISK_10 = (114, 76, 57, 45, 38, 32, 28, 25, 22, 15, 11)


@pytest.mark.parametrize(("tolerable", "confidence"), list(_SIZES))
def test_sample_sizes_are_those_of_the_hypergeometric_distribution(tolerable: str, confidence: str) -> None:
    sizes = [sample_size(n, Fraction(tolerable), Fraction(confidence)) for n in (100, 500, 1000, 10_000, 1_000_000)]

    assert tuple(sizes) == _SIZES[tolerable, confidence]


@pytest.mark.parametrize(("risk", "table"), [("5/100", _RISK_5), ("10/100", _RISK_10)])
def test_of_a_large_population_sizes_are_those_of_the_published_audit_tables(risk: str, table: tuple[int, ...]) -> None:
    sizes = [sample_size(100_000_000, Fraction(percent, 100), 1 - Fraction(risk)) for percent in _TOLERABLE]

    assert tuple(sizes) == table


def test_one_differing_file_of_a_hundred_needs_ninety_for_ninety_per_cent_and_not_one_more() -> None:
    assert sample_size(100, Fraction(1, 100), Fraction(90, 100)) == 90
    assert sample_size(1_000_000, Fraction(1, 1_000_000), Fraction(90, 100)) == 900_000


@pytest.mark.parametrize(
    ("population", "differing", "sampled", "met"),
    [(10, 2, 3, Fraction(8, 15)), (20, 1, 5, Fraction(1, 4))],
)
def test_the_chance_to_meet_one_is_what_one_reckons_by_hand(
    population: int, differing: int, sampled: int, met: Fraction
) -> None:
    assert 1 - none_met(population, differing, sampled) == met


def test_the_evaluation_of_an_audit_sample_is_that_of_the_review_text() -> None:
    # CPA review text: 95 %, 3 deviations in 150: upper limit 5.1 %; 6 in 150: 7.8 % (rounded up to 0.1 %).
    large = 10_000_000
    assert 0.050 < most_differing(large, 150, 3, _95) / large <= 0.051
    assert 0.077 < most_differing(large, 150, 6, _95) / large <= 0.078


def test_bounds_of_a_large_population_are_clopper_and_pearsons_one_sided_ones() -> None:
    # Beta quantiles (scipy.stats.beta): one-sided upper 95 %.
    large = 10_000_000
    for met, sampled, upper in ((0, 59, 0.049508), (0, 299, 0.009969), (1, 100, 0.046560), (3, 100, 0.075711)):
        assert most_differing(large, sampled, met, _95) / large == pytest.approx(upper, abs=2e-5)


@given(st.data())
def test_probabilities_are_scipys(data: st.DataObject) -> None:
    population = data.draw(st.integers(1, 60))
    sampled = data.draw(st.integers(0, population))
    differing = data.draw(st.integers(0, population))
    most = data.draw(st.integers(0, sampled))

    assert float(at_most_met(population, differing, sampled, most)) == pytest.approx(
        hypergeom.cdf(most, population, differing, sampled), abs=1e-9
    )
    assert none_met(population, differing, sampled) == at_most_met(population, differing, sampled, 0)


@given(st.data())
def test_a_bound_is_the_greatest_number_under_which_so_few_are_met_often_enough(data: st.DataObject) -> None:
    population = data.draw(st.integers(1, 40))
    sampled = data.draw(st.integers(0, population))
    met = data.draw(st.integers(0, sampled))
    possible = range(met, population - (sampled - met) + 1)

    greatest = max(d for d in possible if d == met or at_most_met(population, d, sampled, met) > 1 - _95)

    assert most_differing(population, sampled, met, _95) == greatest


@given(
    st.integers(0, 3000),
    st.fractions(Fraction(1, 1000), Fraction(1, 2)),
    st.fractions(Fraction(1, 2), Fraction(99, 100)),
)
def test_a_sample_of_the_size_asked_for_supports_the_claim_and_a_smaller_one_does_not(
    population: int, tolerable: Fraction, confidence: Fraction
) -> None:
    size = sample_size(population, tolerable, confidence)

    assert population == 0 or state(population, size, 0, confidence).fewer_than(tolerable)
    if size:
        assert not state(population, size - 1, 0, confidence).fewer_than(tolerable)


def test_without_a_sample_all_may_differ_and_once_all_are_read_nothing_is_left_to_guess() -> None:
    assert state(41_312, 0, 0, _95).at_most == 41_312
    assert state(41_312, 41_312, 0, _95).at_most == 0
    assert state(41_312, 41_312, 7, _95).at_most == 7


@pytest.mark.parametrize(("sampled", "differing"), [(11, 0), (3, 4), (3, -1)])
def test_figures_that_cannot_be_of_one_sample_are_refused(sampled: int, differing: int) -> None:
    with pytest.raises(ValueError, match="no sample has"):
        state(10, sampled, differing, _95)


def test_the_stated_confidence_holds_in_twenty_thousand_samples() -> None:
    """Draw samples of populations in which so many differ that the bound could fail, and count how often it does.

    Each of the 20,000 runs fails with a probability of 5 % at most. That more than 1,132 do has a probability below
    1e-5 then (binomial: mean 1,000, standard deviation 30.8, 4.27 of them).
    """
    chance = random.Random(20_261_127)
    population, sampled = 500, 56
    bounds = [most_differing(population, sampled, met, _95) for met in range(sampled + 1)]
    failed = 0
    for run in range(20_000):
        differing = (25, 26, 60, 130)[run % 4]
        met = sum(place < differing for place in chance.sample(range(population), sampled))
        failed += bounds[met] < differing

    assert failed <= 1_132

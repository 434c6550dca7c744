"""Whether a statement holds as often as it says, and whether one flipped bit is met as often as it must be.

Each test repeats an experiment 20,000 times with a fixed seed. How far its count may lie from what is expected is the
binomial's: a correct program would leave these bounds once in a million times, were the seed drawn anew.
"""

from __future__ import annotations

from fractions import Fraction
from math import ceil

import numpy as np
import pytest
from scipy.stats import binom, hypergeom

from coverage_audit.comparison.ranks import ranks
from coverage_audit.evidence.keys import key_of
from coverage_audit.reckoning.sampling import none_met, sample_size, state

RUNS = 20_000
CHANCE = 1e-6


@pytest.mark.parametrize("confidence", [Fraction(90, 100), Fraction(95, 100), Fraction(99, 100)])
@pytest.mark.parametrize(
    ("population", "differing"),
    [(2_000, 0), (2_000, 1), (2_000, 20), (2_000, 21), (2_000, 200), (41_312, 413), (41_312, 414), (500, 5)],
)
def test_the_bound_holds_at_least_as_often_as_the_confidence_says(
    population: int, differing: int, confidence: Fraction
) -> None:
    size = sample_size(population, Fraction(1, 100), confidence)
    met = np.random.default_rng(20261127).hypergeometric(differing, population - differing, size, RUNS)
    bounds = {count: state(population, size, count, confidence).at_most for count in set(met.tolist())}
    holds = sum(bounds[count] >= differing for count in met.tolist())

    assert holds >= binom.ppf(CHANCE, RUNS, float(confidence))


@pytest.mark.parametrize("confidence", [Fraction(90, 100), Fraction(95, 100), Fraction(99, 100)])
def test_too_many_that_differ_pass_no_more_often_than_the_confidence_allows(confidence: Fraction) -> None:
    population, tolerable = 41_312, Fraction(1, 100)
    breaking = ceil(tolerable * population)
    size = sample_size(population, tolerable, confidence)
    met = np.random.default_rng(7).hypergeometric(breaking, population - breaking, size, RUNS)
    passes = {count for count in set(met.tolist()) if state(population, size, count, confidence).fewer_than(tolerable)}
    passed = sum(count in passes for count in met.tolist())

    assert passed <= binom.isf(CHANCE, RUNS, 1 - float(confidence))
    assert passed >= binom.ppf(CHANCE, RUNS, float(none_met(population, breaking, size)))  # nor is it too strict


@pytest.fixture(scope="module")
def keys() -> tuple[np.ndarray, np.ndarray]:
    """The keys of 2,000 files."""
    found = [key_of(b"a ledger's seed", b"takes/%05d.flac" % number) for number in range(2_000)]
    upper, lower = (np.array(half, dtype=np.uint64) for half in zip(*found, strict=True))
    return upper, lower


@pytest.mark.parametrize("spoilt", [1, 20])
def test_flipped_bits_are_met_as_often_as_the_hypergeometric_distribution_says(
    keys: tuple[np.ndarray, np.ndarray], spoilt: int
) -> None:
    """By the very order in which files are drawn, over so many seeds; the spoilt ones are always the same files."""
    population, size = 2_000, sample_size(2_000, Fraction(1, 100), Fraction(95, 100))
    chance = np.random.default_rng(13)
    met = 0
    for _ in range(RUNS):
        order = ranks(*keys, chance.bytes(16))
        last = np.partition(order, size - 1)[size - 1]
        met += bool((order[:spoilt] <= last).any())
    expected = float(1 - hypergeom.pmf(0, population, spoilt, size))

    assert binom.ppf(CHANCE / 2, RUNS, expected) <= met <= binom.isf(CHANCE / 2, RUNS, expected)

"""How much a random sample of files shows of all of them: exact, without replacement, one-sided.

Of N files D differ; a simple random sample of n meets X of those, and X is hypergeometric. Everything is computed in
whole numbers (rational arithmetic), so that a case of exact equality falls on the right side.

Source: the hypergeometric distribution function, with one factor per sampled or per differing file, whichever are
fewer; the upper bound is Clopper and Pearson's (Biometrika 26, 1934), one-sided and for a finite population.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from fractions import Fraction
from math import comb


@dataclass(frozen=True, kw_only=True)
class Statement:
    """What a sample of `sampled` of `population` files, `differing` of which differ, lets one say.

    With `confidence` at most `at_most` of all of them differ. Never more than the sample supports: without a sample
    all of them may.
    """

    population: int
    sampled: int
    differing: int
    confidence: Fraction
    at_most: int

    def fewer_than(self, tolerable: Fraction) -> bool:
        """Whether it says that fewer than this share of the files differ."""
        return self.at_most < tolerable * self.population


def state(population: int, sampled: int, differing: int, confidence: Fraction) -> Statement:
    """Return what a sample shows. Raises ValueError where the figures cannot be of one sample."""
    if not 0 <= differing <= sampled <= population:
        raise ValueError(f"no sample has {differing} differing of {sampled} out of {population}")
    at_most = most_differing(population, sampled, differing, confidence)
    return Statement(
        population=population, sampled=sampled, differing=differing, confidence=confidence, at_most=at_most
    )


def sample_size(population: int, tolerable: Fraction, confidence: Fraction) -> int:
    """Return the least sample that, meeting no differing file, shows fewer than the share `tolerable` to differ.

    Both shares lie between 0 and 1. The least number of differing files that breaks the claim is the hardest to meet.
    """
    breaking = max(1, -(-tolerable.numerator * population // tolerable.denominator))
    return _first(range(population), lambda size: 1 - none_met(population, breaking, size) >= confidence)


def none_met(population: int, differing: int, sampled: int) -> Fraction:
    """Return the probability that a sample meets none of the files that differ."""
    fewer, more = sorted((differing, sampled))
    if fewer > population - more:
        return Fraction(0)
    without, whole = 1, 1
    for step in range(fewer):
        without *= population - more - step
        whole *= population - step
    return Fraction(without, whole)


def at_most_met(population: int, differing: int, sampled: int, most: int) -> Fraction:
    """Return the probability that a sample meets `most` or fewer of the files that differ."""
    fewer, more = sorted((differing, sampled))
    least = max(0, fewer + more - population)
    ways = term = comb(more, least) * comb(population - more, fewer - least)
    for met in range(least, min(most, fewer)):
        term = term * (more - met) * (fewer - met) // ((met + 1) * (population - more - fewer + met + 1))
        ways += term
    return Fraction(ways, comb(population, fewer)) if most >= least else Fraction(0)


def most_differing(population: int, sampled: int, met: int, confidence: Fraction) -> int:
    """Return the upper bound of how many files differ: the most under which so few would still be met often enough.

    With more than that, `met` or fewer are met with a probability of at most 1 - `confidence`.
    """
    possible = range(met, population - (sampled - met))
    return _first(possible, lambda most: at_most_met(population, most + 1, sampled, met) <= 1 - confidence)


def _first(places: range, holds: Callable[[int], bool]) -> int:
    """Return the first place at which something holds that then goes on to hold; the end where there is none.

    It is looked for from the front in growing steps: the arithmetic grows with the place.
    """
    low, step = places.start, 1
    while low + step <= places.stop and not holds(low + step - 1):
        low, step = low + step, 2 * step
    high = min(low + step - 1, places.stop)
    while low < high:
        middle = (low + high) // 2
        if holds(middle):
            high = middle
        else:
            low = middle + 1
    return low

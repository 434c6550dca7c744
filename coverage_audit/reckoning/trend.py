"""The trend of a measured quantity, robust against outliers and against what moved at once, with its interval.

Sources: P. K. Sen, "Estimates of the regression coefficient based on Kendall's tau", J. Am. Statistical Association 63
(1968): the median of the slopes of all pairs, its interval from the variance of Kendall's S.
R. M. Hirsch, J. R. Slack, R. A. Smith, "Techniques of trend analysis for monthly water quality data", Water Resources
Research 18 (1982): where a series falls into blocks, the pairs within each, and the sum of the variances.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise
from statistics import NormalDist, median
from typing import TYPE_CHECKING, Final

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

LEAST: Final = 5
"""Of fewer points no trend is told: the interval would be any slope (the project's own choice)."""
_MOVES_AT_MOST: Final = 2
_WEEK: Final = 7
_FAR: Final = 6.0
_NORMAL: Final = 1.4826
"""A normal distribution's standard deviation by its median absolute deviation (1 / 0.67449)."""
_AT_THE_END: Final = 2.5
"""How much less sure a line's level is at its end than a mean is: 2 by least squares, times 1.2533 by a median."""


@dataclass(frozen=True, kw_only=True)
class Trend:
    """A slope per unit of x with its interval, and the level of the line at the last x, give or take `level_off`."""

    slope: float
    low: float
    high: float
    level: float
    level_off: float


def trend(
    xs: Sequence[float], ys: Sequence[float], confidence: float = 0.95, moves: Sequence[int] = ()
) -> Trend | None:
    """Return the trend of `ys` over rising, distinct `xs`; None where there are too few points to tell.

    `moves` are the places before which something was moved in or out at once: no pair reaches across them. The level is
    the median of what the slope makes of each value since the last of them at the last x.
    """
    if len(xs) < LEAST:
        return None
    x, y = np.asarray(xs, dtype=np.float64), np.asarray(ys, dtype=np.float64)
    blocks = list(_blocks(len(x), moves))
    slopes = np.sort(np.concatenate([_slopes(x[block], y[block]) for block in blocks]))
    if not len(slopes):
        return None
    slope = float(np.median(slopes))
    wide = NormalDist().inv_cdf((1 + confidence) / 2)
    reach = wide * sum(_variance(y[block]) for block in blocks) ** 0.5
    below = max(0, round((len(slopes) - reach) / 2) - 1)
    above = min(len(slopes) - 1, round((len(slopes) + reach) / 2))
    last = blocks[-1]
    levels = y[last] - slope * (x[last] - x[-1])
    level = float(np.median(levels))
    spread = _NORMAL * float(np.median(np.abs(levels - level)))
    return Trend(
        slope=slope,
        low=float(slopes[below]),
        high=float(slopes[above]),
        level=level,
        level_off=wide * _AT_THE_END * spread / len(levels) ** 0.5,
    )


def moves_of(values: Sequence[float]) -> tuple[int, ...]:
    """Return the places before which one or two large moves lie, in a series of one value a day.

    At a move the week before and the week after differ by far more than weeks do elsewhere; it may take some days.
    Three and more are a habit: they are growth, and none of them is a move. In the first and last week none is seen,
    where it weighs little. (Widths and bounds: the project's own choice.)
    """
    places = range(_WEEK, len(values) - _WEEK + 1)
    rises = [median(values[at : at + _WEEK]) - median(values[at - _WEEK : at]) for at in places]
    if len(rises) < _WEEK:
        return ()
    usual = median(rises)
    spread = median(abs(rise - usual) for rise in rises)
    far = {at: abs(rise - usual) for at, rise in zip(places, rises, strict=True) if abs(rise - usual) > _FAR * spread}
    moves: list[int] = []
    while far:
        most = max(far.values())
        farthest = [at for at, size in far.items() if size == most]
        moves.append(farthest[len(farthest) // 2])
        far = {at: size for at, size in far.items() if abs(at - moves[-1]) >= _WEEK}
    return tuple(sorted(moves)) if len(moves) <= _MOVES_AT_MOST else ()


def _blocks(count: int, moves: Sequence[int]) -> Iterator[slice]:
    for start, stop in pairwise([0, *moves, count]):
        yield slice(start, stop)


def _slopes(x: NDArray[np.float64], y: NDArray[np.float64]) -> NDArray[np.float64]:
    later, earlier = np.tril_indices(len(x), -1)
    return (y[later] - y[earlier]) / (x[later] - x[earlier])


def _variance(y: NDArray[np.float64]) -> float:
    """Return the variance of Kendall's S of one block, corrected for ties."""
    n = len(y)
    _, counts = np.unique(y, return_counts=True)
    tied = sum(int(t) * (int(t) - 1) * (2 * int(t) + 5) for t in counts)
    return (n * (n - 1) * (2 * n + 5) - tied) / 18

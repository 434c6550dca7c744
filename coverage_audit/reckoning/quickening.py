"""Whether something grows faster lately than its whole history shows: a leak that began after a long quiet time.

The median of the slopes of all pairs of days hardly moves until the leak has lasted for a third of the history. (All
widths and bounds are the project's own choice, no published source.)
"""

from __future__ import annotations

from collections.abc import Sequence
from statistics import median
from typing import Final

LATELY: Final = (14, 28)
"""Of so many last readings the pace is looked at by itself."""

_AROUND: Final = 3
_GOES_ON: Final = 0.4
_NEW: Final = 0.5


def is_new(values: Sequence[float], xs: Sequence[float], lately: int, pace: float) -> bool:
    """Whether a growth of `pace` over the last `lately` of `values` (at `xs`) is none that was there before.

    It goes on still, and at least half of what it brought lies above all that ever was before: what swings up and down
    is no growth, and neither is what was moved in and has come to its end.
    """
    level = median(values[-_AROUND:])
    before, began = max(values[:-lately]), median(values[-lately:][:_AROUND])
    back = -_AROUND // 2 - lately // 3
    then = median(values[back - 1 : back + 2])
    goes_on = level - then > _GOES_ON * pace * (xs[-_AROUND // 2] - xs[back])
    return goes_on and level - before > _NEW * (level - began) > 0

"""Whether what changes in a day fits through a link in a day, and how long the first copy over it takes.

Bytes are decimal, links bits a second. The link is taken at its best, with nothing else on it: what does not fit then
does not fit at all.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import timedelta
from fractions import Fraction

from coverage_audit.estate.units import format_size
from coverage_audit.reckoning.restoring import Limit, limit_of_link, time_for


@dataclass(frozen=True, kw_only=True)
class Upload:
    """Whether `change` bytes a day fit through a link: the time that they take a day at least, and its share of it.

    `first` is how long the first copy of all `whole` bytes takes while as much goes on changing (None: it never gets
    done).
    """

    change: int
    whole: int
    takes: timedelta
    share: float
    fits: bool
    first: timedelta | None
    bottleneck: Limit
    assumptions: tuple[str, ...]


def upload(*, device: str, link: int, change: int, whole: int) -> Upload:
    """Return what the link of a device (bits a second) does with `change` bytes a day and `whole` bytes at first.

    Raises ValueError for sizes below 0 and for a link that carries nothing.
    """
    if change < 0 or whole < 0 or link <= 0:
        raise ValueError("an upload moves bytes, over a link that carries some")
    limit = limit_of_link(device, link)
    takes, _ = time_for(change, limit.rate)
    share = change / (limit.rate * 86_400)
    left = limit.rate - Fraction(change, 86_400)
    first = time_for(whole, left)[0] if left > 0 else None
    return Upload(
        change=change,
        whole=whole,
        takes=takes,
        share=float(share),
        fits=share <= 1,
        first=first,
        bottleneck=limit,
        assumptions=(
            limit.assumption,
            f"As much as now changes every day: {format_size(change)}, also while the first copy is made.",
        ),
    )

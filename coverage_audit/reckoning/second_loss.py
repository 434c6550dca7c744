"""How likely drives fail: within a time, while another one is made up, and on the average until data is lost.

Times are hours; a year has 8,760. The forms take failures to be independent and equally likely at any time. Drives of
one batch in one box are neither, so that a rate from the field, not from a datasheet, belongs in here.

Sources: Patterson, Gibson and Katz, "A case for redundant arrays of inexpensive disks", SIGMOD 1988; Chen, Lee, Gibson,
Katz and Patterson, ACM Computing Surveys 26(2), 1994, section 3.4.5. Both reckon a mean time to data loss (MTTDL) as
that until a first drive fails, over the chance that such a failure ends in a loss.
"""

from __future__ import annotations

from math import expm1, inf, log1p
from typing import Final

HOURS_A_YEAR: Final = 8760

FIELD_YEARLY_MOST: Final = 0.13
"""The share of drives replaced in a year that was seen at most in the field (Schroeder and Gibson, FAST '07)."""


def mtbf_from_yearly(yearly: float) -> float:
    """Return the mean time between failures in hours of a share of drives that fail in a year.

    Raises ValueError where that is no share.
    """
    if not 0 < yearly < 1:
        raise ValueError(f"{yearly} is no share of drives that fail in a year")
    return -HOURS_A_YEAR / log1p(-yearly)


def chance_within(hours: float, mean: float) -> float:
    """Return the chance that something happens within so many hours that happens after `mean` hours on the average.

    1 - exp(-hours / mean): of a drive and a year it is the share that fails in a year (AFR). Raises ValueError where
    these are no times.
    """
    if mean <= 0 or hours < 0:
        raise ValueError(f"{hours} hours and {mean} hours on the average are no times")
    return -expm1(-hours / mean)


def chance_of_further_loss(others: int, hours: float, yearly: float = FIELD_YEARLY_MOST) -> float:
    """Return the chance that at least one of `others` drives fails within `hours`.

    1 - (1 - yearly)^(others x hours / 8760). Raises ValueError where there is no such chance.
    """
    if not 0 <= yearly < 1 or others < 0 or hours < 0:
        raise ValueError(f"no chance comes of {others} drives in {hours} hours at {yearly} a year")
    return -expm1(others * hours / HOURS_A_YEAR * log1p(-yearly))


def mean_time_to_loss(*, mttf: float, drives: float, losing: float) -> float:
    """Return the mean time in hours until data is lost (MTTDL): mttf / (drives x losing).

    `mttf` is one drive's mean time to failure, `losing` the chance that the failure of any one of `drives` ends in a
    loss before it is made up. Raises ValueError where that is no chance.
    """
    if not 0 <= losing <= 1 or drives <= 0 or mttf <= 0:
        raise ValueError(f"no time comes of {drives} drives, {mttf} hours and a chance of {losing}")
    return mttf / (drives * losing) if losing else inf

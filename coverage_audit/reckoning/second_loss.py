"""How likely drives fail: in a year, while another one is made up, and on the average until data is lost.

Times are hours unless a name says otherwise; a year has 8,760. The forms take failures to be independent and equally
likely at any time. Drives of one batch in one box are neither, so that a rate from the field, not from a datasheet,
belongs in here.

Sources: Patterson, Gibson and Katz, "A case for redundant arrays of inexpensive disks", SIGMOD 1988; Chen, Lee, Gibson,
Katz and Patterson, ACM Computing Surveys 26(2), 1994, section 3.4.5.
"""

from __future__ import annotations

from math import expm1, inf, log1p
from typing import Final

HOURS_A_YEAR: Final = 8760

FIELD_YEARLY_MOST: Final = 0.13
"""The share of drives replaced in a year that was seen at most in the field (Schroeder and Gibson, FAST '07)."""


def yearly_from_mtbf(mtbf: float) -> float:
    """Return the share of drives that fail in a year (AFR), of a mean time between failures in hours.

    1 - exp(-8760 / mtbf). Raises ValueError where that is no time.
    """
    if mtbf <= 0:
        raise ValueError(f"{mtbf} hours are no time between failures")
    return -expm1(-HOURS_A_YEAR / mtbf)


def mtbf_from_yearly(yearly: float) -> float:
    """Return the mean time between failures in hours of a share of drives that fail in a year.

    Raises ValueError where that is no share.
    """
    if not 0 < yearly < 1:
        raise ValueError(f"{yearly} is no share of drives that fail in a year")
    return -HOURS_A_YEAR / log1p(-yearly)


def chance_of_further_loss(others: int, hours: float, yearly: float = FIELD_YEARLY_MOST) -> float:
    """Return the chance that at least one of `others` drives fails within `hours`.

    1 - (1 - yearly)^(others x hours / 8760). Raises ValueError where there is no such chance.
    """
    if not 0 <= yearly < 1 or others < 0 or hours < 0:
        raise ValueError(f"no chance comes of {others} drives in {hours} hours at {yearly} a year")
    return -expm1(others * hours / HOURS_A_YEAR * log1p(-yearly))


def chance_within(hours: float, mttdl: float) -> float:
    """Return the chance that data is lost within so many hours, of a mean time to data loss in hours."""
    return -expm1(-hours / mttdl)


def mttdl_patterson(*, mttf: float, mttr: float, group: int, check: int, groups: int) -> float:
    """Return Patterson's mean time in hours until an array loses data: a second drive of a group fails during repair.

    `group` data drives and `check` check drives make a group, of which there are `groups`: mttf^2 over
    (all drives) x (group + check - 1) x mttr.
    """
    return mttf**2 / ((group + check) * groups * (group + check - 1) * mttr)


def mttdl_double_failure(*, mttf: float, second_mttf: float, mttr: float, drives: float, group: int) -> float:
    """Return Chen's mean time in hours until two drives of a group fail, the second one with a rate of its own.

    `drives` in all, `group` of them in a parity group, parity included.
    """
    return mttf * second_mttf / (drives * (group - 1) * mttr)


def mttdl_read_error(*, mttf: float, drives: float, group: int, readable: float) -> float:
    """Return Chen's mean time in hours until a drive fails and not all of the others of its group can be read.

    `readable` is the chance that one drive can be read whole.
    """
    unreadable = 1 - readable ** (group - 1)
    return mttf / (drives * unreadable) if unreadable else inf


def mttdl_parity(*, mttf: float, mttr: float, drives: int, parity: int) -> float:
    """Return the usual approximation in hours for one group of N drives: M^(p+1) / (N (N-1) ... (N-p) R^p).

    `mttf` (M) must be far above `mttr` (R); `parity` (p) drives may be lost.
    """
    ways = 1
    for step in range(parity + 1):
        ways *= drives - step
    return mttf ** (parity + 1) / (ways * mttr**parity)

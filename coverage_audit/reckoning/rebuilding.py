"""Making up a lost drive: how long it takes at least, and how likely it goes wrong at most.

Times are bounds from opposite sides. A rebuild cannot be faster than the new drive writes; for the chances it is taken
to be slow and to begin late, because every hour without the drive counts against the owner. Sizes are decimal bytes.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import timedelta
from fractions import Fraction
from typing import Final

from coverage_audit.estate.hardware import Parity
from coverage_audit.estate.units import format_duration, format_size
from coverage_audit.reckoning.parity import Rebuild, array_of, rebuild_of
from coverage_audit.reckoning.read_errors import WORST_DATASHEET, chance_of_unreadable
from coverage_audit.reckoning.restoring import said, time_for
from coverage_audit.reckoning.second_loss import (
    FIELD_YEARLY_MOST,
    HOURS_A_YEAR,
    chance_of_further_loss,
    chance_within,
    mean_time_to_loss,
    mtbf_from_yearly,
)

SLOW: Final = 20_000_000
"""Bytes a second at which a rebuild crawls that gives way to other work (common practice, no published source)."""

UNTIL_REPLACED: Final = timedelta(days=7)
"""How long a spare drive is taken to be on its way (the project's own choice)."""


@dataclass(frozen=True, kw_only=True)
class RebuildRisk:
    """The rebuild of one lost drive.

    `least` is the time that it takes at least. The chances are upper estimates: `unreadable`, that not every byte of
    the other drives can be read; `further`, that at least one of them fails before the end; `losing`, that data is lost
    by both while `spare` further losses are still stood; and `in_a_year`, that any drive of the whole array fails and
    it ends so.
    """

    rebuild: Rebuild
    spare: int
    least: timedelta
    unreadable: float
    further: float
    losing: float
    in_a_year: float
    assumptions: tuple[str, ...]


def rebuild_risk(drives: Sequence[int], parity: Parity | None, *, lost: int, rate: Fraction) -> RebuildRisk | None:
    """Return what the rebuild of a lost drive of `lost` bytes is like; None where the array stands no loss.

    `rate` is bytes a second that one drive writes at best. Raises ValueError as `parity.rebuild_of` does.
    """
    rebuild = rebuild_of(drives, parity, lost)
    if rebuild is None:
        return None
    spare = array_of(drives, parity).stands - 1
    chances = _chances(rebuild, len(drives), spare)
    each = [made_up for size in drives if (made_up := rebuild_of(drives, parity, size)) is not None]
    losing = max(_chances(made_up, len(drives), spare).losing for made_up in each)
    mean = mean_time_to_loss(mttf=mtbf_from_yearly(FIELD_YEARLY_MOST), drives=len(drives), losing=losing)
    return RebuildRisk(
        rebuild=rebuild,
        spare=spare,
        least=time_for(rebuild.written, rate)[0],
        unreadable=chances.unreadable,
        further=chances.further,
        losing=chances.losing,
        in_a_year=chance_within(HOURS_A_YEAR, mean),
        assumptions=_assumptions(rebuild, rate, chances.longest, spare),
    )


@dataclass(frozen=True, kw_only=True)
class _Chances:
    """What may go wrong while one drive is made up, for as long as that takes at most."""

    longest: timedelta
    unreadable: float
    further: float
    losing: float


def _chances(rebuild: Rebuild, drives: int, spare: int) -> _Chances:
    longest = time_for(rebuild.written, Fraction(SLOW))[0] + UNTIL_REPLACED
    unreadable = chance_of_unreadable(rebuild.read)
    further = chance_of_further_loss(drives - 1, longest / timedelta(hours=1))
    losing = min(1.0, further**spare * (further + unreadable))
    return _Chances(longest=longest, unreadable=unreadable, further=further, losing=losing)


def _assumptions(rebuild: Rebuild, rate: Fraction, longest: timedelta, spare: int) -> tuple[str, ...]:
    yearly = f"{FIELD_YEARLY_MOST:.0%}".replace("%", " %")
    said_spare = (
        "One unreadable place is enough to lose data: no parity is left to make it up."
        if spare == 0
        else "An unreadable place loses data only with as many further drives lost as the parity still stands."
    )
    return (
        f"The new drive writes {format_size(rebuild.written)} at {said(rate)} at best: no rebuild is faster.",
        (
            f"Unreadable: {format_size(rebuild.read)} are read, with {WORST_DATASHEET:.0e} errors a bit"
            " (the worst that datasheets allow), each by itself."
        ),
        (
            f"A further loss: the others fail at {yearly} a year (the most seen in the field: Schroeder and Gibson,"
            f" FAST '07), each by itself, for {format_duration(longest)}: {format_duration(UNTIL_REPLACED)} until a new"
            f" drive is in, and a rebuild at {said(Fraction(SLOW))}."
        ),
        (
            "In any year: each of the drives may be the first to fail, at the same rate, and what follows is as above,"
            " of the drive whose loss is the worst."
        ),
        "Drives of one age and batch in one box fail together more often than that.",
        said_spare,
    )

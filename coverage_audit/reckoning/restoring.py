"""How long it takes until data is back: its bytes over the slowest thing on the way, and the time to fetch it.

Rates are decimal bytes a second. Links and media are taken at their best, so that without a measured rate the time is
one that it takes at least (nobody has seen that it is as fast). Terms: NIST SP 800-34 (recovery time objective).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import timedelta
from enum import StrEnum
from fractions import Fraction
from typing import Final

from coverage_audit.estate.model import Medium
from coverage_audit.estate.units import LONGEST, format_bit_rate, format_duration, format_size
from coverage_audit.reckoning.links import carried, efficiency

_BEST: Final = {
    Medium.HDD: (280_000_000, "hard disk"),
    Medium.SSD: (7_000_000_000, "solid-state drive"),
    Medium.TAPE: (400_000_000, "tape drive"),
    Medium.OPTICAL: (72_000_000, "optical drive"),
}
"""Bytes a second that one drive of its kind reads or writes at best (common practice, no published source)."""

UNHINDERED: Final = (
    "Small files, encryption and whatever else the boxes do take more time: this is what it takes at least."
)
AS_MEASURED: Final = "What was measured holds for the whole: the boxes are as busy, and the files of the same kind."
CUT_OFF: Final = "It takes longer than a hundred years."


class LimitKind(StrEnum):
    """Where a rate comes from."""

    LINK = "link"
    MEDIUM = "medium"
    MEASURED = "measured"


@dataclass(frozen=True, kw_only=True)
class Limit:
    """Something on the way that is only so fast: what it is, and its bytes a second, with how that was reckoned."""

    what: str
    kind: LimitKind
    rate: Fraction
    assumption: str


@dataclass(frozen=True, kw_only=True)
class TimeBack:
    """How long `size` bytes take until they are back, `fetching` included, and what makes it so long.

    `measured` says that the rate was seen, by a drill or a walk; otherwise `time` is a lower bound.
    """

    size: int
    time: timedelta
    fetching: timedelta
    bottleneck: Limit
    measured: bool
    assumptions: tuple[str, ...]


def limit_of_link(device: str, link: int) -> Limit:
    """Return what the declared link of a device (bits a second) carries at most."""
    rate = carried(link)
    share = f"{float(efficiency()):.1%}".replace("%", " %")
    return Limit(
        what=f"the link of {device}",
        kind=LimitKind.LINK,
        rate=rate,
        assumption=f"The link of {device} carries {share} of its {format_bit_rate(link)} as data: {said(rate)}"
        " (TCP over Ethernet, nothing else on it).",
    )


def limit_of_medium(volume: str, medium: Medium, drives: int = 1) -> Limit | None:
    """Return what a volume's medium moves at best, with so many drives at work at once; None for a hosted one."""
    if medium not in _BEST:
        return None
    best, word = _BEST[medium]
    rate = Fraction(best * drives)
    together = "one " + word if drives == 1 else f"{drives} {word}s together"
    return Limit(
        what=f"the {medium.value} of {volume}",
        kind=LimitKind.MEDIUM,
        rate=rate,
        assumption=f"The medium of {volume} moves {said(rate)} at best ({together}; common practice).",
    )


def limit_as_measured(volume: str, rate: int, how: str) -> Limit:
    """Return the bytes a second that were measured, and how ("median of the last 3 drills")."""
    return Limit(
        what=f"what was measured of {volume}",
        kind=LimitKind.MEASURED,
        rate=Fraction(rate),
        assumption=f"Of {volume} {said(Fraction(rate))} were measured ({how}).",
    )


def time_back(size: int, limits: Sequence[Limit], fetching: timedelta | None = None) -> TimeBack | None:
    """Return how long so many bytes take over all of these at once, the slowest of which rules; None without any.

    `fetching` is the time to have the medium here (None: it is here). Nothing is ever said to take more than a hundred
    years. Raises ValueError where the size is below 0 or a rate is not above it.
    """
    if not limits:
        return None
    if size < 0 or any(limit.rate <= 0 for limit in limits):
        raise ValueError("a restore moves bytes, at more than 0 bytes a second")
    slowest = min(limits, key=lambda limit: limit.rate)
    measured = any(limit.kind is LimitKind.MEASURED for limit in limits)
    before = fetching or timedelta(0)
    time, cut_off = time_for(size, slowest.rate, before)
    assumptions = [limit.assumption for limit in limits]
    if before:
        assumptions.append(f"It takes {format_duration(before)} to have it here.")
    assumptions.append(AS_MEASURED if measured else UNHINDERED)
    return TimeBack(
        size=size,
        time=time,
        fetching=before,
        bottleneck=slowest,
        measured=measured,
        assumptions=(*assumptions, CUT_OFF) if cut_off else tuple(assumptions),
    )


def time_for(size: int, rate: Fraction, before: timedelta = timedelta(0)) -> tuple[timedelta, bool]:
    """Return how long so many bytes take at a rate, behind a wait, and whether that was cut to a hundred years."""
    seconds = size / rate + Fraction(before // timedelta(microseconds=1), 1_000_000)
    if seconds > int(LONGEST.total_seconds()):
        return LONGEST, True
    return timedelta(seconds=float(seconds)), False


def said(rate: Fraction) -> str:
    """Say a rate to people (`294.2 MB/s`)."""
    return f"{format_size(int(rate))}/s"

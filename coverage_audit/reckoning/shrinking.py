"""Whether much of a place went or changed at once: its turnover against a share, and against its own history.

The figures that are not declared by the owner are the project's own choice, no published source.
"""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction
from typing import Final

from coverage_audit.evidence.turnover import Shares, Sign, Turnover

DEFAULT: Final = 0.1
"""The share of files or bytes that counts as much where the policy says none."""

LEAST_FILES: Final = 20
LEAST_BYTES: Final = 10**9
"""Where the policy says no share, fewer lost files and fewer lost bytes than these are not much."""

LEAST_REWRITTEN: Final = 3
"""Fewer rewritten files than these are not much, whatever the policy says."""

LEARNED: Final = 3
"""So many audits must know a place before it is told what is usual; and so many must have seen what is."""

NOT_LEARNED: Final = 0.5
"""The share of rewritten files that counts as much before it is known what is usual."""

NOTHING: Final = Shares()
_EXACT: Final = 10**6


def usual(history: Sequence[Shares]) -> Shares:
    """Return what a place loses and rewrites now and then: at least three audits of the history saw as much."""
    return Shares(
        lost_files=_third([one.lost_files for one in history]),
        lost_bytes=_third([one.lost_bytes for one in history]),
        rewritten=_third([one.rewritten for one in history]),
        touched=_third([one.touched for one in history]),
    )


def shares(turnover: Turnover) -> Shares:
    """Return what was lost and rewritten as shares of what was there (0 where nothing was)."""
    before = turnover.before
    return Shares(
        lost_files=_share(turnover.lost.files, before.files),
        lost_bytes=_share(turnover.lost.bytes, before.bytes),
        rewritten=_share(turnover.rewritten.files, before.files),
        touched=_share(turnover.touched.files, before.files),
    )


def signs(turnover: Turnover, *, declared: float | None, usually: Shares = NOTHING, known: int = 0) -> tuple[Sign, ...]:
    """Return what shows that much changed at once (nothing: it did not).

    `declared` is the policy's share. Without one, what is usual comes on top of the shipped share for what is lost; for
    what is rewritten it always does, and half of all files count as much until `known` audits have learned it.
    """
    share = Fraction(DEFAULT if declared is None else declared).limit_denominator(_EXACT)
    spared = usually if declared is None else Shares()
    files = share + _exact(spared.lost_files)
    found = {
        Sign.WENT: _emptied_wholly(turnover)
        or _much(turnover.lost.files, turnover.before.files, files, _floor(declared, LEAST_FILES))
        or _much(
            turnover.lost.bytes,
            turnover.before.bytes,
            share + _exact(spared.lost_bytes),
            _floor(declared, LEAST_BYTES),
        ),
        Sign.SUFFIXED: _much(turnover.suffixed.files, turnover.before.files, files, _floor(declared, LEAST_FILES)),
        Sign.REWRITTEN: _much(
            turnover.rewritten.files,
            turnover.before.files,
            _share_of_changes(share, usually.rewritten, known),
            _floor_of_changes(declared),
        ),
    }
    return tuple(sign for sign, shown in found.items() if shown)


def touched_at_once(turnover: Turnover, *, declared: float | None, usually: Shares, known: int) -> bool:
    """Whether much was touched that looks as before: by the share and the floor of what is rewritten in place."""
    share = Fraction(DEFAULT if declared is None else declared).limit_denominator(_EXACT)
    asked = _share_of_changes(share, usually.touched, known)
    return _much(turnover.touched.files, turnover.before.files, asked, _floor_of_changes(declared))


def rewritten_unlearned(turnover: Turnover, *, declared: float | None, known: int) -> bool:
    """Whether so much is rewritten that it would count as much if it were known that this is not usual."""
    return known < LEARNED and Sign.REWRITTEN in signs(turnover, declared=declared, known=LEARNED)


def _emptied_wholly(turnover: Turnover) -> bool:
    """Whether nothing is left of files, or of their bytes, however few there were."""
    files = turnover.before.files > 0 and turnover.now.files == 0 and turnover.gone.files > 0
    return files or (turnover.before.bytes > 0 and turnover.now.bytes == 0 and turnover.lost.bytes > 0)


def _much(part: int, whole: int, share: Fraction, least: int) -> bool:
    """Whether a part is as much as asked; what is usual never excuses the loss of everything."""
    return part >= least and part >= min(share, Fraction(1)) * whole


def _floor(declared: float | None, least: int) -> int:
    return least if declared is None else 1


def _share_of_changes(share: Fraction, usually: float, known: int) -> Fraction:
    return share + _exact(usually) if known >= LEARNED else max(share, Fraction(NOT_LEARNED))


def _floor_of_changes(declared: float | None) -> int:
    return LEAST_FILES if declared is None else LEAST_REWRITTEN


def _third(known: Sequence[float]) -> float:
    return sorted(known, reverse=True)[LEARNED - 1] if len(known) >= LEARNED else 0.0


def _share(part: int, whole: int) -> float:
    return part / whole if whole else 0.0


def _exact(share: float) -> Fraction:
    return Fraction(share).limit_denominator(_EXACT)

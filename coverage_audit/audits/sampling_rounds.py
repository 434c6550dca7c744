"""When a sample of a copy is drawn anew: pure, of what is known of it and of the time."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime
from fractions import Fraction
from typing import Final

from coverage_audit.estate.criteria import Verify
from coverage_audit.evidence.verified import Verification
from coverage_audit.judgement.content_shown import is_overdue, statement_of

EARLY: Final = Fraction(3, 4)
"""A sample is drawn anew after this part of the time for which it counts, so that it never ceases to."""

AGAIN: Final = Fraction(1, 4)
"""One that does not show what is asked is drawn anew after this part, or once all that was found spoilt is mended."""


def goes_on(known: Verification, terms: Verify, now: datetime) -> bool:
    """Whether the sample under way goes on: none of it is older than counts."""
    return known.running is not None and known.round is not None and not is_overdue(known.running, terms, now)


def is_due(known: Verification, terms: Verify, now: datetime, *, spoilt: int) -> bool:
    """Whether a new sample is to be drawn; `spoilt` files are known to be so still.

    What has fallen out of the last one asks for no new one: reading these files mends it, and they are the first to be.
    """
    last = known.last
    if last is None or known.held is None:
        return True
    if now - last.began > terms.every * float(EARLY):
        return True
    statement = statement_of(replace(last, same=last.same + last.fallen, fallen=0), terms)
    if statement is None or statement.fewer_than(terms.tolerable):
        return statement is None
    mended = last.differing > 0 and not spoilt
    return mended or now - (last.ended or last.began) > terms.every * float(AGAIN)

"""A drill that a person did: recorded as that person's word, which is no measurement."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime, time
from typing import Final

from coverage_audit.audits.drill_wish import copy_of, dataset_of
from coverage_audit.errors import UsageError
from coverage_audit.estate.model import Estate
from coverage_audit.evidence.drilling import Drill, DrillOutcome
from coverage_audit.ledger.ledger import Ledger

_FIRST_YEAR: Final = 1970


@dataclass(frozen=True, kw_only=True)
class HandDrill:
    """What a person says to have restored: from which copy (None: the only one), who, what, on which day."""

    dataset: str
    copy: str | None
    who: str
    what: str
    on: date | None = None


def record_by_hand(estate: Estate, done: HandDrill, now: datetime, ledger: Ledger) -> Drill:
    """Record it; a day counts from its begin, in the estate's zone.

    Raises UsageError for a day to come or before 1970, empty words, or where it is not said from which of several
    copies.
    """
    who, what = (" ".join(words.split()) for words in (done.who, done.what))
    if not who or not what:
        raise UsageError("--who and --what: say them in words")
    found = dataset_of(estate, done.dataset)
    if done.copy is None and len(found.copies) != 1:
        known = ", ".join(str(one.address) for one in found.copies)
        raise UsageError(f"--copy: say from which copy: {known or f'{found.id} has none'}")
    place = found.copies[0] if done.copy is None else copy_of(found, done.copy)
    if done.on is not None and done.on.year < _FIRST_YEAR:
        raise UsageError(f"--on: there is no drill of the year {done.on.year}")
    at = now if done.on is None else datetime.combine(done.on, time(), estate.time_zone)
    if at > now:
        raise UsageError("--on: that day is to come")
    drill = Drill(dataset=found.id, copy=place.address, at=at, outcome=DrillOutcome.BY_HAND, who=who, what=what)
    ledger.drills.record(drill)
    return drill

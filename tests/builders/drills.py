"""Drills of the recordings' copy on heron, so many days before the audit of the tests."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta
from typing import Any

from coverage_audit.evidence.difference import Tally
from coverage_audit.evidence.drilling import (
    Drill,
    DrillOutcome,
    DrillsOfCopy,
    Fate,
    Incident,
    Outstanding,
    StillThere,
    drills_of_copy,
)
from tests.builders.station import FINISHED, RECORDINGS

DAY = timedelta(days=1)
SPOILT = Incident(path=b"take-7\n.wav", fate=Fate.DAMAGED, why="it is something else")


def a_drill(age: float, outcome: DrillOutcome = DrillOutcome.RESTORED, **values: Any) -> Drill:
    """One drill; by its outcome what it found."""
    drill = Drill(
        dataset=RECORDINGS.id,
        copy=RECORDINGS.copies[0].address,
        at=FINISHED - age * DAY,
        outcome=outcome,
        chosen=20,
        restored=Tally(files=20, bytes=3_000_000_000),
        by_originals=20,
        drawn=20,
        drawn_back=20,
        held=3000,
        outstanding=(),
        read=3_000_000_000,
        seconds=30.0,
        way="over SFTP",
    )
    if outcome is DrillOutcome.DAMAGED:
        left = (Outstanding(path=SPOILT.path),)
        drill = replace(drill, outstanding=left, drawn_back=19)
        drill = replace(drill, restored=Tally(files=19, bytes=9), damaged=Tally(files=1, bytes=7), incidents=(SPOILT,))
    if outcome is DrillOutcome.INCOMPLETE:
        drill = replace(drill, restored=Tally(), unheld=20, by_originals=0, drawn_back=0, outstanding=None)
    return replace(drill, **values)


def by_hand(age: float) -> Drill:
    """A drill that a person did."""
    return Drill(
        dataset=RECORDINGS.id,
        copy=RECORDINGS.copies[0].address,
        at=FINISHED - age * DAY,
        outcome=DrillOutcome.BY_HAND,
        who="R. Byrne",
        what="the spring of 2024, played",
    )


def drills(*found: Drill) -> DrillsOfCopy:
    """What the ledger tells of these, all that they showed being there still."""
    newest_first = sorted(found, key=lambda drill: drill.at, reverse=True)
    return replace(drills_of_copy(newest_first), still=StillThere(files=20, of=20))

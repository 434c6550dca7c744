"""Drills: files that were read back out of a copy, or that a person says were, and what came of it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import datetime
from enum import StrEnum

from coverage_audit.estate.model import Address, DatasetId
from coverage_audit.evidence.content import Wanted
from coverage_audit.evidence.difference import Tally
from coverage_audit.evidence.facts import Gap

LEAST_MEASURED = 4 << 20
"""Bytes that must have been read for a rate: what takes less is over before a link has got going."""

LEAST_DRAWN = 20
"""So many files must be drawn at random for a drill to show that a copy can be read back, or all that it holds where
that is less: of a copy of which a seventh is spoilt, 20 files find something 19 times in 20 (0.86**20 < 0.05)."""


class DrillOutcome(StrEnum):
    """What a drill showed. Only `RESTORED` shows that the copy can be read back."""

    RESTORED = "restored"  # all files chosen that could be held against anything are what they should be, some of them
    DAMAGED = "damaged"  # at least one is not what it should be
    INCOMPLETE = "incomplete"  # none is damaged, and it does not show that the copy can be read back
    BY_HAND = "by hand"  # declared by a person, not measured


class Fate(StrEnum):
    """What became of one file of a drill."""

    RESTORED = "restored"  # read back whole, and what its original holds, or held as is stored
    DAMAGED = "damaged"  # read back, and something else although no time and no size says so
    ORIGINAL = "original decayed"  # restored, and right as it is stored: its original holds something else by now
    UNREAD = "unread"  # it could not be read back
    CHANGED = "changed meanwhile"  # the original, or the copy's file, is another version by now: it shows nothing
    UNHELD = "nothing to hold it against"  # the original could not be read, and no digest of it is stored


@dataclass(frozen=True, kw_only=True)
class FileBack:
    """A file that was read back, held on the scratch disk and read from there again; with `why` it does not count.

    `digests` are of what the scratch disk gave back, by algorithm.
    """

    path: bytes
    size: int = 0
    digests: tuple[tuple[str, bytes], ...] = ()
    why: str | None = None
    is_another: bool = False  # what lies there is not what was listed, or is another version by now


@dataclass(frozen=True, kw_only=True)
class FilesBack:
    """What came of reading files back: each that was wanted is in exactly one of `back` and `left`.

    `left` was not reached, `stopped` says why. `read` bytes passed in `seconds` of reading and writing alone, by `way`
    (in a few words).
    """

    back: tuple[FileBack, ...]
    left: tuple[Wanted, ...] = ()
    read: int = 0
    seconds: float = 0.0
    way: str = ""
    stopped: Gap | None = None


@dataclass(frozen=True, kw_only=True)
class Incident:
    """A file of a drill that was not restored, and why."""

    path: bytes
    fate: Fate
    why: str


@dataclass(frozen=True, kw_only=True)
class Shown:
    """A file that was drawn and restored, with the figures that the copy's listing showed of it (ns, bytes)."""

    path: bytes
    size: int
    mtime_ns: int
    ctime_ns: int | None


@dataclass(frozen=True, kw_only=True)
class Outstanding:
    """A file that a drill found damaged and none has read back right since, with its original's figures then.

    None: they are not known.
    """

    path: bytes
    size: int | None = None
    mtime_ns: int | None = None


@dataclass(frozen=True, kw_only=True)
class Drill:
    """One drill of one copy (its declared address; `point` is the recovery point that was read).

    `at` is when it began, of one by hand the day it is said to be of. `restored` and `damaged` are files with their
    bytes, `unread`, `changed` and `unheld` counts. `read` bytes passed in `seconds` of reading alone. `by_originals` is
    how many of the restored ones were held against their originals as they are now, the others against digests that are
    stored of them. Of the chosen `drawn` were drawn at random among the `held` that the copy was found to hold, `named`
    were named, `again` were found damaged before; one may be several of these. `drawn_back` of the drawn were restored,
    `shown` are the first of them. `incidents` are the first that were not restored, all that are damaged before them.
    `outstanding` is what no drill until this one, with it, has read back right again (None: that was not kept). `who`
    and `what` say who did one by hand.
    """

    dataset: DatasetId
    copy: Address
    at: datetime
    outcome: DrillOutcome
    point: str | None = None
    chosen: int = 0
    restored: Tally = field(default_factory=Tally)
    damaged: Tally = field(default_factory=Tally)
    unread: int = 0
    changed: int = 0
    unheld: int = 0
    by_originals: int = 0
    named: int = 0
    again: int = 0
    drawn: int = 0
    drawn_back: int = 0
    held: int = 0
    shown: tuple[Shown, ...] = ()
    outstanding: tuple[Outstanding, ...] | None = None
    read: int = 0
    seconds: float = 0.0
    way: str = ""
    incidents: tuple[Incident, ...] = ()
    who: str | None = None
    what: str | None = None

    @property
    def damaged_files(self) -> tuple[Incident, ...]:
        """The incidents of files that are damaged."""
        return tuple(one for one in self.incidents if one.fate is Fate.DAMAGED)

    @property
    def least(self) -> int:
        """How many files must be drawn at least, of so many that the copy holds."""
        return min(self.held, LEAST_DRAWN) if self.held else LEAST_DRAWN

    @property
    def is_random(self) -> bool:
        """Whether it drew enough files at random, and most of these came back: only then it speaks for the copy."""
        return self.drawn >= self.least and 2 * self.drawn_back >= self.drawn

    @property
    def rate(self) -> float | None:
        """Bytes a second at which it was read back; None where too little was read to tell."""
        return self.read / self.seconds if self.read >= LEAST_MEASURED and self.seconds > 0 else None


@dataclass(frozen=True, kw_only=True)
class StillThere:
    """How many of the files that a drill showed bear the same figures in tonight's listing."""

    files: int
    of: int

    @property
    def most(self) -> bool:
        """Whether the copy is for the most part what was read back."""
        return self.of > 0 and 2 * self.files >= self.of


@dataclass(frozen=True, kw_only=True)
class DrillsOfCopy:
    """The drills of a copy that its judgement looks at, each None where there was none.

    `newest` is the newest that was measured, `restored` the newest that restored files drawn at random, `damaged` the
    newest that found damage, `unread` the newest that could not read all, `by_hand` the newest by hand. `outstanding`
    is all that drills found damaged and none has read back right since (`outstanding_files` counts it). `still` says
    what of the files of `restored` is as it was (None: that was not seen).
    """

    newest: Drill | None = None
    restored: Drill | None = None
    damaged: Drill | None = None
    unread: Drill | None = None
    by_hand: Drill | None = None
    outstanding: tuple[Outstanding, ...] = ()
    outstanding_files: int = 0
    still: StillThere | None = None

    @property
    def standing_damage(self) -> Drill | None:
        """The newest drill that found damage, while any damage that drills found is outstanding."""
        return self.damaged if self.outstanding_files else None


def drills_of_copy(newest_first: Sequence[Drill]) -> DrillsOfCopy:
    """Sum up all drills of one copy."""
    measured = [drill for drill in newest_first if drill.outcome is not DrillOutcome.BY_HAND]
    left = _outstanding(measured)
    return DrillsOfCopy(
        newest=next(iter(measured), None),
        restored=next((one for one in measured if one.outcome is DrillOutcome.RESTORED and one.is_random), None),
        damaged=next((one for one in measured if one.outcome is DrillOutcome.DAMAGED), None),
        unread=next((one for one in measured if one.unread), None),
        by_hand=next((one for one in newest_first if one.outcome is DrillOutcome.BY_HAND), None),
        outstanding=left,
        outstanding_files=len(left),
    )


def _outstanding(newest_first: Sequence[Drill]) -> tuple[Outstanding, ...]:
    """Return what is outstanding; a drill of which that was not kept takes nothing away."""
    left: dict[bytes, Outstanding] = {}
    for drill in reversed(newest_first):
        if drill.outstanding is not None:
            left = {one.path: one for one in drill.outstanding}
        else:
            left |= {one.path: Outstanding(path=one.path) for one in drill.damaged_files}
    return tuple(left.values())

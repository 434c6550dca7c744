"""Drills: files that were read back out of a copy, or that a person says were, and what came of it."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import datetime
from enum import StrEnum

from coverage_audit.estate.model import Address, DatasetId
from coverage_audit.evidence.content import Wanted
from coverage_audit.evidence.difference import Tally
from coverage_audit.evidence.facts import Gap

LEAST_MEASURED = 4 << 20
"""Bytes that must have been read for a rate: what takes less is over before a link has got going."""


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
class Drill:
    """One drill of one copy (its declared address; `point` is the recovery point that was read).

    `at` is when it began, of one by hand the day it is said to be of. `restored` and `damaged` are files with their
    bytes, `unread`, `changed` and `unheld` counts. `read` bytes passed in `seconds` of reading alone. `by_originals` is
    how many of the restored ones were held against their originals as they are now, the others against digests that are
    stored of them. `named` of the chosen were named, or found damaged before; the others were drawn. `incidents` are
    the first that were not restored, all that are damaged before them. `who` and `what` say who did one by hand.
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
    def rate(self) -> float | None:
        """Bytes a second at which it was read back; None where too little was read to tell."""
        return self.read / self.seconds if self.read >= LEAST_MEASURED and self.seconds > 0 else None


@dataclass(frozen=True, kw_only=True)
class DrillsOfCopy:
    """The drills of a copy that its judgement looks at, each None where there was none.

    `newest` is the newest that was measured, `restored` and `damaged` the newest of that outcome, `by_hand` the newest
    by hand. What a drill found damaged stays so until one restores it: another one that shows nothing is no cure.
    """

    newest: Drill | None = None
    restored: Drill | None = None
    damaged: Drill | None = None
    by_hand: Drill | None = None

    @property
    def standing_damage(self) -> Drill | None:
        """The newest drill that found damage, where none restored after it."""
        if self.damaged is None or (self.restored is not None and self.restored.at > self.damaged.at):
            return None
        return self.damaged

"""What reading the content of a copy's files has shown: of a random sample, of all of them, and of single files.

A sample is counted, never judged, here: what it says with which confidence is the judgement's to reckon. Each file of
it is one of `same` (its content is the original's), `differing`, `not_shown` (it could not be read) or not reached yet.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import datetime
from enum import StrEnum

from coverage_audit.estate.model import Address
from coverage_audit.evidence.difference import Tally
from coverage_audit.evidence.facts import Gap


class Harm(StrEnum):
    """What became of a file's content."""

    DIFFERS = "differs"  # from the original's; which of the two changed was not seen
    DECAYED = "decayed"  # its content is another than when it was read before, and size, mtime and ctime are the same
    REWRITTEN = "rewritten"  # the same, but for its ctime: it was written to, and its size and time put back


@dataclass(frozen=True, kw_only=True)
class Spoilt:
    """A file of a copy, or of an original, whose content is not what it should be. Figures are its own as it was read.

    `digest` is what was read, `wanted` what it should be. Of an original's file `held_by` are the copies that were
    seen to hold `wanted`.
    """

    path: bytes
    harm: Harm
    size: int
    mtime_ns: int
    digest: bytes
    wanted: bytes
    at: datetime
    held_by: tuple[Address, ...] = ()


@dataclass(frozen=True, kw_only=True)
class Sampled:
    """A simple random sample of the files that a copy was found to hold, and what became of it.

    No reading of it is older than `began`; `ended` is None while some of it was not reached. A file that was found to
    differ or could not be read stays counted as such, whatever was mended since. `beside` counts further files that
    were read at that time, those never read before in the first place: they are no part of the sample.

    Each night on which the copy is seen it is held against both listings and becomes one of what they list (of which it
    has `population`). `fallen` are those of it that came or were written to since, and were not read yet: no reading
    speaks for them. `by_time` says that one side shows no ctimes: what is written there with size and mtime put back
    cannot be seen in a listing.
    """

    began: datetime
    ended: datetime | None
    population: Tally
    asked: int
    same: int
    differing: int = 0
    not_shown: int = 0
    beside: int = 0
    fallen: int = 0
    by_time: bool = False

    @property
    def sampled(self) -> int:
        """How many files it has, those that a sample under way has not reached left aside."""
        return self.same + self.wanting

    @property
    def wanting(self) -> int:
        """How many of them are not shown to be right."""
        return self.differing + self.not_shown + self.fallen


@dataclass(frozen=True, kw_only=True)
class WholeReading:
    """All files of a copy, read one after the other over as many nights as it takes.

    `seconds` were spent on reading so far, `left` is what was not reached; `changed` files were edited in the original
    before they were reached and are no part of it. `through` is when it should end, by the rate measured so far (None:
    that cannot be told).
    """

    asked: datetime
    ended: datetime | None
    same: Tally
    differing: int
    not_shown: int
    changed: int
    left: Tally
    seconds: float
    through: datetime | None = None


@dataclass(frozen=True, kw_only=True)
class Verified:
    """What is known of a copy's content. `spoilt` are the first of the `spoilt_files` that are not what they should be.

    `last` is the last sample that was read to its end, `running` the one under way. `why_not` says why nothing, or not
    all, could be read in this audit.
    """

    last: Sampled | None = None
    running: Sampled | None = None
    whole: WholeReading | None = None
    spoilt: tuple[Spoilt, ...] = ()
    spoilt_files: int = 0
    why_not: Gap | None = None


@dataclass(frozen=True, kw_only=True)
class Round:
    """What the next night must know of a sample: its seed, and what of it was found wanting."""

    seed: bytes
    differing: frozenset[bytes] = frozenset()
    not_shown: frozenset[bytes] = frozenset()

    @property
    def wanting(self) -> frozenset[bytes]:
        """All that does not count as right, whatever is read of it now."""
        return self.differing | self.not_shown


@dataclass(frozen=True, kw_only=True)
class Course:
    """What the next night must know of a reading of all: its seed, and the rank up to which it has come."""

    seed: bytes
    rank: int = 0


@dataclass(frozen=True, kw_only=True)
class Verification:
    """All that is remembered of one copy's content, or an original's (of which there are only spoilt files).

    `held` belongs to the `last` sample, `round` to the one under way. `more` counts spoilt files beyond those that are
    named.
    """

    last: Sampled | None = None
    held: Round | None = None
    running: Sampled | None = None
    round: Round | None = None
    whole: WholeReading | None = None
    course: Course | None = None
    spoilt: tuple[Spoilt, ...] = field(default=())
    more: int = 0

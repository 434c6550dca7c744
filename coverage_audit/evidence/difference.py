"""What a copy was found to hold of an original: figures, and where the rows that differ are kept.

The rows live in a Parquet relation beside the manifests (never in SQL); these are its summary, which the
judgement reads. Nothing here can be `proven` by itself: that is the judgement's word.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import datetime, timedelta
from enum import StrEnum
from pathlib import Path

from coverage_audit.evidence.direction import Direction


@dataclass(frozen=True, kw_only=True)
class Tally:
    """How much: entries of any kind that are no folder (`files`), and their bytes."""

    files: int = 0
    bytes: int = 0

    def __add__(self, other: Tally) -> Tally:
        """Add two tallies of disjoint rows."""
        return Tally(files=self.files + other.files, bytes=self.bytes + other.bytes)


class RowClass(StrEnum):
    """How a row of the relation differs."""

    MISSING = "missing"  # the original has it, the copy does not
    OLDER = "older"  # the copy holds an older version
    NEWER = "newer"  # the copy's version bears a later time
    OTHER = "other"  # same time and another size, another kind or another link target
    CONTENT = "content"  # same size and time, and digests on both sides disagree
    HOLLOW = "hollow"  # same size and time, but it takes up far less than its size (or nothing), unlike the original's
    EXTRA = "extra"  # the copy has it, the original does not


class RowVerdict(StrEnum):
    """What a differing row means for the copy, at the moment of the audit."""

    COUNTS = "counts"  # over max_age even at the latest, or it went back
    PENDING = "pending"  # within max_age even at the earliest
    BETWEEN = "between"  # cannot be told: an audit is missing
    ITS_OWN = "changed on its own"  # the copy changed and the original did not
    CONTENT = "content differs"  # digests on both sides disagree
    UNHASHED = "content unverified"  # newer in the copy, never seen before, sizes agree; or hollow
    UNKNOWN = "unknown"  # below a blind place of the copy
    HELD_BACK = "held back"  # much changed at once in the original, and the copy holds the state before it
    EXTRA = "extra"


@dataclass(frozen=True, kw_only=True)
class Mode:
    """How times were compared.

    `shift` was added to all times of the copy, to undo a whole-hour zone error that nearly all of its files bear.
    `by_size`: the copy keeps no times; a file is held when sizes agree and it was written after the
    original's mtime by the original's clock. `offset_ns` is what was added to the copy's times for that
    (None: unknown or too large, then nothing is held by size). `times`, `sizes`, `targets` and `kinds` are False where
    a listing does not offer them: then they are not compared. `digest` is the algorithm of the digests that both
    offer (None: none); where both rows have one it overrules times. `times_lost`: nearly all files of a copy that kept
    times before bear later ones; they are compared as they are.
    """

    granularity_ns: int
    shift: timedelta = timedelta(0)
    by_size: bool = False
    offset_ns: int | None = 0
    times: bool = True
    sizes: bool = True
    targets: bool = True
    kinds: bool = True
    digest: str | None = None
    times_lost: bool = False

    @property
    def full(self) -> bool:
        """Whether both the size and the time of a file are compared."""
        return self.times and self.sizes


@dataclass(frozen=True, kw_only=True)
class Sample:
    """One differing row, for messages: the path as bytes and what is known of it (times in ns)."""

    path: bytes
    row_class: RowClass
    verdict: RowVerdict
    size: int
    mtime_ns: int
    earliest_ns: int | None
    latest_ns: int | None


class Sight(StrEnum):
    """What was seen beside what differs: what a copy shows of what it can hold, and how."""

    RETIMED = "held by digest, and their times differ"
    OTHER_SPELLING = "held under another spelling"
    COLLIDING = "missing, and another name that differs in spelling alone is there"
    UNSOUGHT = "missing, and not looked for under another spelling"
    REFUSED_NAME = "missing, and named as usual targets refuse"
    UNLINKED = "further names of one file, held as files of their own"
    FILLED = "sparse, and held with all its zeros"
    SPECIAL = "devices, pipes or sockets, missing or of another kind"
    PLACEHOLDER = "of a size that takes up nothing, and missing"
    LEADING_OUT = "links that lead outside all that is declared, or nowhere"
    OPEN = "of kinds that programs keep open, and not held as they are"
    WRITTEN_MEANWHILE = "of kinds that programs keep open, and written while the original was listed"
    WITHOUT_LOG = "logs that are missing while the database beside them is not"


@dataclass(frozen=True, kw_only=True)
class Seen:
    """How many entries show one such thing, and one of them: its path, and what it is beside (b"": nothing)."""

    sight: Sight
    entries: int
    example: bytes = b""
    beside: bytes = b""


@dataclass(frozen=True, kw_only=True)
class TakeUp:
    """What the copy did with what was pending at earlier audits.

    `last_progress` is the last audit at which nothing was lacking or something pending had been taken
    up; `gone_unheld` counts the rows that were pending and left the original without ever being held since
    then. `pending_since` is the first audit since then that had something pending.
    """

    last_progress: datetime | None = None
    gone_unheld: int = 0
    pending_since: datetime | None = None


@dataclass(frozen=True, kw_only=True)
class CopyComparison:
    """One copy's tree against its original's, with the differences carried over from earlier audits.

    `original` is all that the original has and that is not left out; `same` of it is held. `missing` and
    `changed` are what is not held (whatever the verdict); the verdict's tallies split these:
    `counting + pending + between + own + content + unhashed + unknown + held_back == missing + changed`.
    `folders_missing` are counted apart (a folder has no bytes); folders take part in `counting`,
    `pending`… as files=0.
    `earliest_start` / `earliest_start_trimmed`: the earliest start among all that is not held, and without the
    few rows that stick out (None: nothing is lacking). `holds_newer`: it holds something that came surely after
    something that counts against it (a hole; else what it lacks is a clean cut in time).
    `unproven` is part of `same`: held as far as can be told, but neither their times nor a digest could be compared (of
    links: not where they lead; or their kind is not listed at all). `hollow` is part of `unhashed`. `not_compared` says
    in words what could not be.
    `blind_original`: part of the original was not seen; `blind_copy`: part of the copy was not.
    `held_back_missing` is the part of `held_back` that is missing. `former` is how much of what went or changed at once
    in the original the copy holds as it was before (None: nothing did); of `former_unclear` that cannot be told.
    """

    original_at: datetime
    copy_at: datetime
    mode: Mode
    original: Tally
    same: Tally
    missing: Tally
    changed: Tally
    extra: Tally
    left_out: Tally
    left_out_by: tuple[tuple[str, Tally], ...] = ()
    counting: Tally = field(default_factory=Tally)
    pending: Tally = field(default_factory=Tally)
    between: Tally = field(default_factory=Tally)
    own: Tally = field(default_factory=Tally)
    content: Tally = field(default_factory=Tally)
    unhashed: Tally = field(default_factory=Tally)
    unknown: Tally = field(default_factory=Tally)
    held_back: Tally = field(default_factory=Tally)
    held_back_missing: Tally = field(default_factory=Tally)
    went_back: Tally = field(default_factory=Tally)  # part of `counting`
    counting_rows: int = 0  # rows of any kind, folders too
    between_rows: int = 0
    pending_rows: int = 0
    folders_missing: int = 0
    under_old_name: Tally = field(default_factory=Tally)  # missing here, there under another name
    holds_newer: bool = False
    earliest_start: datetime | None = None
    earliest_start_trimmed: datetime | None = None
    sticking_out: tuple[Sample, ...] = ()
    between_missing_audit: datetime | None = None  # the last audit before the one that is missing
    last_work: datetime | None = None  # the copy's newest ctime
    take_up: TakeUp = field(default_factory=TakeUp)
    first_audit: bool = False
    blind_original: bool = False
    blind_copy: bool = False
    unproven: Tally = field(default_factory=Tally)
    hollow: Tally = field(default_factory=Tally)
    not_compared: tuple[str, ...] = ()
    sights: tuple[Seen, ...] = ()
    samples: tuple[Sample, ...] = ()
    former: Tally | None = None
    former_unclear: Tally = field(default_factory=Tally)
    direction: Direction | None = None  # None: which side leads cannot be told
    relation: Path | None = None


@dataclass(frozen=True, kw_only=True)
class Exposure:
    """What of the original no copy with valid evidence holds, and since when at the earliest.

    `since` is None where nothing is exposed or where no start is known. `samples` are some of the largest files,
    `oldest` some of those that were last written to the longest ago.
    """

    files: int
    bytes: int
    since: datetime | None = None
    samples: tuple[Sample, ...] = ()
    oldest: tuple[Sample, ...] = ()

"""What became of one place from one of its listings to a later one: what went, came, was emptied or rewritten.

Tallies count entries that are no folders, and the bytes of regular files. All instants are aware and in UTC.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import datetime
from enum import StrEnum

from coverage_audit.evidence.difference import Tally


class Sign(StrEnum):
    """What shows that much changed at once."""

    WENT = "went"  # files are there no more, or hold nothing any more, or bytes are
    SUFFIXED = "bear another suffix"  # files went, each while one of its name with one suffix, the same for all, came
    REWRITTEN = "rewritten"  # files hold something else than before


@dataclass(frozen=True, kw_only=True)
class FormerFile:
    """A file as the former listing showed it: its size in bytes, its mtime in nanoseconds since 1970."""

    path: bytes
    size: int
    mtime_ns: int


@dataclass(frozen=True, kw_only=True)
class Turnover:
    """One listing against a former one of the same place; `before_at` and `at` are when they started.

    `before` and `now` are all that each holds, without what is left out. `gone` is what is there no more; what lies
    elsewhere under the same last name, size and time is `moved` instead. `changed` is counted as it was before;
    `emptied` is the part of it that holds no byte any more, `shrunk` the bytes by which all of it became smaller.
    `suffixed` is the part of `gone` in whose stead files with the suffix `suffix` came. `largest` and `oldest` are some
    of what went, was emptied or was rewritten. What lies below a place that could not be read is in none of these.
    `touched` are files of the size and time of before that bear another ctime: written to, with the time put back, or
    given other permissions or links (none where they are under 1%).
    """

    before_at: datetime
    at: datetime
    before: Tally
    now: Tally
    gone: Tally = field(default_factory=Tally)
    moved: Tally = field(default_factory=Tally)
    arrived: Tally = field(default_factory=Tally)
    changed: Tally = field(default_factory=Tally)
    emptied: Tally = field(default_factory=Tally)
    shrunk: int = 0
    suffixed: Tally = field(default_factory=Tally)
    suffix: bytes = b""
    touched: Tally = field(default_factory=Tally)
    largest: tuple[FormerFile, ...] = ()
    oldest: tuple[FormerFile, ...] = ()

    @property
    def lost(self) -> Tally:
        """Files that are gone or emptied, and the bytes that are gone with them or out of changed files."""
        return Tally(files=self.gone.files + self.emptied.files, bytes=self.gone.bytes + self.shrunk)

    @property
    def rewritten(self) -> Tally:
        """Files that hold something else, and not nothing."""
        return Tally(files=self.changed.files - self.emptied.files, bytes=self.changed.bytes - self.emptied.bytes)


@dataclass(frozen=True, kw_only=True)
class Shares:
    """Of all that a former listing held: the share of files and of bytes lost, of files rewritten, of files touched."""

    lost_files: float = 0.0
    lost_bytes: float = 0.0
    rewritten: float = 0.0
    touched: float = 0.0


@dataclass(frozen=True, kw_only=True)
class MassChange:
    """A change of much at once that still stands. `grown` is the last audit that met more of it (None: none did).

    `since` is the audit that met it, `seen_at` the listing that showed it first. `turnover` is the state before it
    against the newest listing, as far as the change goes: what came back is none of it any more. `signs` are those that
    it shows still. `accepted`: when a person accepted anew what the volume shows, after it (None: nobody has).
    `readable`: the state before could be compared in this audit; else the figures are those of the last time.
    """

    since: datetime
    seen_at: datetime
    turnover: Turnover
    signs: tuple[Sign, ...]
    grown: datetime | None = None
    accepted: datetime | None = None
    readable: bool = True


@dataclass(frozen=True, kw_only=True)
class Watched:
    """What is known of a place's turnover: `last` is since its last listing (None: `why_not` says why).

    `first`: there never was a listing before that could be read whole.
    `usual` is what audits before saw it lose and rewrite now and then, `known` how many of them that is learned from.
    `signs` are what `last` shows, `standing` is the change of much at once that stands (None: none does).
    """

    last: Turnover | None = None
    why_not: str = ""
    first: bool = False
    usual: Shares = field(default_factory=Shares)
    known: int = 0
    signs: tuple[Sign, ...] = ()
    standing: MassChange | None = None

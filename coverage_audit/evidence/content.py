"""The content of files as it was read: digests, what has none and why, and what is known of earlier readings.

Paths are bytes below the root of the tree that was listed. All times are ns since 1970, sizes bytes.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Final, Protocol

from coverage_audit.evidence.facts import Gap

ALGORITHMS: Final = ("sha256", "sha512", "sha1", "md5")
"""Of digests, the preferred first: what every box is likely to have, then what nobody forges, then what finds decay."""


def common_algorithm(*usable: Sequence[str]) -> str | None:
    """Return the best algorithm that all sides can use; None: there is none, and nothing can be compared."""
    return next((name for name in ALGORITHMS if all(name in one for one in usable)), None)


@dataclass(frozen=True, kw_only=True)
class Wanted:
    """A file as the walk saw it: a digest of any other content is not its own."""

    path: bytes
    size: int
    mtime_ns: int


@dataclass(frozen=True, kw_only=True)
class HashedFile:
    """A file that was read now and had the same figures before and after: those it was wanted with.

    `ctime_ns` is None where the box does not show it (over SFTP).
    """

    path: bytes
    size: int
    mtime_ns: int
    ctime_ns: int | None
    digest: bytes


@dataclass(frozen=True, kw_only=True)
class NotHashed:
    """A file of which there is no digest, and why."""

    path: bytes
    why: str


@dataclass(frozen=True, kw_only=True)
class HashedFiles:
    """What came of reading files: each that was wanted is in exactly one of `hashed`, `not_hashed` and `left`.

    `left` was not reached: the time was over, or `stopped` says what went wrong. Nothing is known of those files.
    `seconds` were spent, `bytes` of content were read.
    """

    algorithm: str
    hashed: tuple[HashedFile, ...]
    not_hashed: tuple[NotHashed, ...] = ()
    left: tuple[Wanted, ...] = ()
    seconds: float = 0.0
    bytes: int = 0
    stopped: Gap | None = None


class Figures(Protocol):
    """What a listing shows of a file, or a reading: any row of a manifest has it."""

    @property
    def path(self) -> bytes:
        """Below its tree's root."""

    @property
    def size(self) -> int:
        """Bytes."""

    @property
    def mtime_ns(self) -> int:
        """When its content was changed last, as the file says."""

    @property
    def ctime_ns(self) -> int | None:
        """When its entry was changed last; None: not shown."""


@dataclass(frozen=True, kw_only=True)
class StoredDigest:
    """What is remembered of a file's content: the figures that it was read with, the first time and the last.

    `hashed_at` is when it was first read with this digest, `again_at` when it was last read and had it still.
    """

    path: bytes
    size: int
    mtime_ns: int
    ctime_ns: int | None
    algorithm: str
    digest: bytes
    hashed_at: datetime
    again_at: datetime

    def stands_for(self, file: Figures) -> bool:
        """Whether the file is still the one that was read: same size, mtime, and ctime where both are known."""
        ctimes = {self.ctime_ns, file.ctime_ns} - {None}
        return (self.size, self.mtime_ns) == (file.size, file.mtime_ns) and len(ctimes) < 2


@dataclass(frozen=True, kw_only=True)
class Turned:
    """A file whose content is another now than it was."""

    before: StoredDigest
    now: HashedFile


@dataclass(frozen=True, kw_only=True)
class DigestsAdded:
    """What showed when digests were added to those of earlier readings.

    `decayed`: another content, and not one of its figures has changed. The former digest stays on record, so that it
    is said again until the file is put right. `rewritten`: another content under the same size and mtime, but its entry
    was changed: it was written and its time put back. `damaged` says that what was remembered could not be read and is
    lost (None: it could).
    """

    decayed: tuple[Turned, ...] = ()
    rewritten: tuple[Turned, ...] = ()
    damaged: str | None = None

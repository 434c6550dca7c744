"""The content of files as it was read: digests, what has none and why, and what is known of earlier readings.

Paths are bytes below the root of the tree that was listed. All times are ns since 1970, sizes bytes.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Final

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


@dataclass(frozen=True, kw_only=True)
class StoredDigest:
    """What is remembered of a file's content: the figures that it was read with, the first time and the last.

    It stands for a file of the same size and mtime, and of the same ctime where both are known.
    """

    path: bytes
    size: int
    mtime_ns: int
    ctime_ns: int | None
    algorithm: str
    digest: bytes
    hashed_at: datetime
    again_at: datetime


@dataclass(frozen=True, kw_only=True)
class Decayed:
    """A file whose content is another now, although its figures are those that `before` stands for."""

    before: StoredDigest
    now: HashedFile

"""A manifest: a complete listing of a tree; and its poorer sister, the partial one.

Rows live in a Parquet file (`coverage_audit.evidence.store`), never as Python objects by the million.
What is here says where the rows came from, how many they are and what they can be used for. Complete and
partial manifests are different types on purpose: the absence of a path means something only in the
first, and only outside its blind places in the second.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta
from enum import StrEnum
from pathlib import Path

from coverage_audit.estate.model import Address


class Kind(StrEnum):
    """The kind of an entry, by one letter as it is stored."""

    FILE = "f"
    FOLDER = "d"
    LINK = "l"
    OTHER = "o"  # device nodes, sockets, pipes


@dataclass(frozen=True, kw_only=True)
class Row:
    """One entry, for tests, messages and small selections only.

    `path` is relative to the root, as bytes, without a leading slash; the root itself is no row.
    Times are integer nanoseconds since 1970 UTC, by the box's own clock; `ctime_ns` None: not offered.
    `blocks` (of 512 bytes, that it takes up), `links` (its names on the filesystem) and `digest` (of its content, by
    the algorithm that its manifest's origin names) are of regular files only; None: not offered.
    """

    path: bytes
    kind: Kind
    size: int
    mtime_ns: int
    ctime_ns: int | None = None
    target: bytes | None = None  # of a link
    blocks: int | None = None
    links: int | None = None
    digest: bytes | None = None


@dataclass(frozen=True, kw_only=True)
class Blind:
    """A place in a tree that was not looked into: everything below `path` is unknown."""

    path: bytes
    why: str


@dataclass(frozen=True, kw_only=True)
class Origin:
    """Where, when and how a manifest was observed; it is stored inside the file too.

    `precision_ns` is the granularity of mtimes that the way of listing offers (1 for find and scandir).
    `lacks` names what it does not offer: "mtime" and "size" (0 in every row then), "ctime", "links", "blocks",
    "targets" (of links), "kinds" (only files are listed, no folders or others). `digest` is the algorithm of the rows'
    digests ("sha256", "md5", "sha1", "sha512"), None where there are none.
    `clock_offset` is the box's clock minus the auditor's at that time, None when it was not shown.
    """

    address: Address
    root: str
    how: str  # "scandir", "gnu find", …
    started: datetime
    finished: datetime
    precision_ns: int = 1
    lacks: frozenset[str] = frozenset()
    clock_offset: timedelta | None = None
    filesystem_uuid: str | None = None
    filesystem_type: str | None = None
    digest: str | None = None


@dataclass(frozen=True, kw_only=True)
class Census:
    """What the rows add up to. `bytes` counts regular files; `granularity_ns` is inferred from mtimes.

    `newest_mtime_ns`, `newest_ctime_ns` are over regular files and links (None when there are none). Of regular files,
    `hollow` are those of at least 64 KiB whose blocks are shown and hold less than an eighth of their size, `linked`
    those with further names on the filesystem, `digested` those with a digest.
    """

    entries: int
    files: int
    bytes: int
    granularity_ns: int
    newest_mtime_ns: int | None = None
    newest_ctime_ns: int | None = None
    odd_times: int = 0  # mtimes outside [1970, started + one day]: wrapped or wrong, never "newer"
    hollow: int = 0
    linked: int = 0
    digested: int = 0


@dataclass(frozen=True, kw_only=True)
class CompleteManifest:
    """A listing whose terminator, count and exit status agree, with nothing unreadable in it."""

    file: Path
    origin: Origin
    census: Census


@dataclass(frozen=True, kw_only=True)
class PartialManifest:
    """A listing that ended well but for named blind places: a file seen is a file seen, no more."""

    file: Path
    origin: Origin
    census: Census
    blind: tuple[Blind, ...]


Manifest = CompleteManifest | PartialManifest

"""Where the recovery points of a dated copy are told, as the estate declares it."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, kw_only=True)
class DatedFolders:
    """Recovery points that are folders, named by a `strptime` pattern (None: by one of the usual spellings)."""

    pattern: str | None = None


@dataclass(frozen=True, kw_only=True)
class DatedFiles:
    """Recovery points that are single files (dumps, images), named as dated folders are: each is opaque."""

    pattern: str | None = None


@dataclass(frozen=True, kw_only=True)
class BtrfsPoints:
    """Recovery points that are btrfs snapshots, dated by the filesystem itself.

    `snapshot_of` is the path (below the volume) of the subvolume that they must be snapshots of; None: they were
    received from another filesystem, and each must bear the mark of a finished receive.
    """

    snapshot_of: str | None = None


@dataclass(frozen=True, kw_only=True)
class ZfsPoints:
    """Recovery points that are snapshots of one ZFS dataset (`pool/name`), dated by the pool itself."""

    dataset: str


@dataclass(frozen=True, kw_only=True)
class CommandPoints:
    """Recovery points that a command of the owner's tells, run on the copy's device: an argument list, never a shell.

    Its output is JSON, of which `json` (a JMESPath expression) selects the points, or lines, of which `lines` (a
    regular expression with the group `time`, and perhaps `name` and `size`) matches those that are points.
    """

    arguments: tuple[str, ...]
    json: str | None = None
    lines: str | None = None


Points = DatedFolders | DatedFiles | BtrfsPoints | ZfsPoints | CommandPoints

"""What passes between the two stages of a comparison, and what they work with.

Stage 1 (`compare.match`) finds the rows that differ at this moment; stage 2 (`carry.carry`) says since when each
has differed and what that means. Rows by the million stay in Parquet files; these values are their summary.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import datetime
from pathlib import Path
from typing import Protocol

from coverage_audit.evidence.collected import SecondLook
from coverage_audit.evidence.difference import Mode, Seen, TakeUp, Tally
from coverage_audit.evidence.manifest import Manifest


@dataclass(frozen=True, kw_only=True)
class Workspace:
    """Where a comparison works and what it may use.

    `folder` is scratch space on the auditor's own disk: relations are written there under unique names, and the
    caller keeps or deletes them. `memory` bounds the engine (bytes). `seed` is the ledger's: keys of paths are made
    with it. `window` is about how many rows of either side are compared at a time.
    """

    folder: Path
    memory: int
    seed: bytes
    window: int = 1 << 16


@dataclass(frozen=True, kw_only=True)
class Matched:
    """Stage 1's outcome: what differs now, without a word on since when.

    `relation` is the raw relation (`coverage_audit.comparison.relation.RAW`), in tree order, `rows` its length.
    `total` is all that the original has and that is not left out, `same` what of it is held: their difference is
    `missing + changed`. Tallies count entries that are no folders, and the bytes of regular files.
    `missing_blind` is the part of `missing` that lies below a blind place of the copy (unknown, not absent).
    `newest_same_mtime_ns` is over regular files that are held, odd times left aside; `newest_same_arrival_ns` is
    the newest instant at which such a file was surely not older: the least of its mtime and its ctime.
    `last_work_ns` is the newest ctime in the copy, by the copy's own clock. `leave_out` are the patterns that the
    matching was made with: the dataset's and the copy's. `content` (digests that disagree at one size and time) and
    `hollow` are parts of `changed`; `unproven` and `sights` are as in CopyComparison. `fallen` are the rows of what
    went or changed at once in the original, as `turnover.turn` keeps them (None: nothing did).
    """

    original: Manifest
    copy: Manifest
    relation: Path
    rows: int
    mode: Mode
    total: Tally
    same: Tally
    missing: Tally
    changed: Tally
    extra: Tally
    left_out: Tally = field(default_factory=Tally)
    left_out_by: tuple[tuple[str, Tally], ...] = ()
    missing_blind: Tally = field(default_factory=Tally)
    content: Tally = field(default_factory=Tally)
    hollow: Tally = field(default_factory=Tally)
    unproven: Tally = field(default_factory=Tally)
    sights: tuple[Seen, ...] = ()
    folders_missing: int = 0
    under_old_name: Tally = field(default_factory=Tally)
    newest_same_mtime_ns: int | None = None
    newest_same_arrival_ns: int | None = None
    last_work_ns: int | None = None
    blind_original: bool = False
    blind_copy: bool = False
    leave_out: tuple[str, ...] = ()
    fallen: Path | None = None


@dataclass(frozen=True, kw_only=True)
class Earlier:
    """What the ledger still knows of this pair from earlier audits.

    `at` is when the pair was last compared (the audit's start). `originals` are complete manifests of the
    original still kept, each with the moment at which its listing started, oldest first: at least the one used
    in the last comparison and the newest. `copy_manifest` is the copy's of the last comparison. `relation` is the
    final relation of that comparison (None only where it was lost: then nothing is known of what differed).
    `accepted`: since then a person has accepted anew what the copy's volume shows.
    """

    at: datetime
    originals: tuple[tuple[datetime, Path], ...]
    copy_manifest: Path | None = None
    relation: Path | None = None
    take_up: TakeUp = field(default_factory=TakeUp)
    accepted: bool = False


class Look(Protocol):
    """A way to look at paths of the original once more, at most 10,000 at a time.

    Raises CollectionError where the box cannot be asked; stage 2 then does without.
    """

    def __call__(self, paths: tuple[bytes, ...]) -> tuple[SecondLook, ...]:
        """Return what lies there now, one answer a path, in the same order."""

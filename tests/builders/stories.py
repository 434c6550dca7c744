"""A pair of trees through many audits: rows in, comparisons out, with the clock as the only fake.

What the ledger would hand from one audit to the next is kept here.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

from coverage_audit.comparison.carry import carry
from coverage_audit.comparison.compare import match
from coverage_audit.comparison.rows import DifferingRow, differing_rows
from coverage_audit.comparison.types import Earlier, Look, Workspace
from coverage_audit.evidence.difference import CopyComparison
from coverage_audit.evidence.instants import to_ns
from coverage_audit.evidence.manifest import Blind, CompleteManifest, Kind, Manifest, Row
from tests.builders.manifests import MEMORY, SEED, STARTED, a_manifest

HOUR = timedelta(hours=1)
DAY = timedelta(days=1)
MAX_AGE = timedelta(hours=26)
YEARS = 4 * 365 * DAY
LAST_NIGHT = STARTED - DAY


def at(before: timedelta, now: datetime = STARTED) -> int:
    """Nanoseconds of an instant so long before now."""
    return to_ns(now - before)


def a_file(
    path: bytes, mtime: timedelta, *, size: int = 100, ctime: timedelta | None = None, now: datetime = STARTED
) -> Row:
    """A file last written so long before `now`; its ctime agrees unless said otherwise."""
    return Row(
        path=path,
        kind=Kind.FILE,
        size=size,
        mtime_ns=at(mtime, now),
        ctime_ns=at(mtime if ctime is None else ctime, now),
    )


def old_files(count: int = 12) -> list[Row]:
    """Files of years ago, so that what else is missing is not most of the dataset."""
    return [a_file(b"old/%02d" % number, YEARS + number * DAY) for number in range(count)]


@dataclass(kw_only=True)
class Story:
    """One original and one copy. `audit` compares them and remembers."""

    folder: Path
    max_age: timedelta = MAX_AGE
    memory: int = MEMORY
    earlier: Earlier | None = None
    originals: list[tuple[datetime, Path]] = field(default_factory=list)
    seen: list[CopyComparison] = field(default_factory=list)

    @property
    def work(self) -> Workspace:
        return Workspace(folder=self.folder, memory=self.memory, seed=SEED)

    def manifest(self, rows: Iterable[Row], now: datetime, blind: Sequence[bytes] = (), **origin: Any) -> Manifest:
        places = [Blind(path=path, why="Permission denied") for path in blind]
        said = {"started": now, "finished": now, **origin}
        return a_manifest(self.folder, rows, blind=places, **said)

    def see_original(self, now: datetime, rows: Iterable[Row]) -> None:
        """An audit that saw the original alone."""
        self.originals.append((now, self.manifest(rows, now).file))
        self._remember_originals()

    def audit(
        self,
        now: datetime,
        original: Iterable[Row] | Manifest,
        copy: Iterable[Row] | Manifest,
        *,
        look: Look | None = None,
        blind_original: Sequence[bytes] = (),
        blind_copy: Sequence[bytes] = (),
        leave_out: Sequence[str] = (),
    ) -> CopyComparison:
        """One audit of both, at `now`."""
        if not isinstance(original, Manifest):
            original = self.manifest(original, now, blind_original)
        if not isinstance(copy, Manifest):
            copy = self.manifest(copy, now, blind_copy)
        matched = match(original, copy, leave_out=leave_out, work=self.work)
        seen = carry(matched, self.earlier, now=now, look=look, max_age=self.max_age, work=self.work)
        if isinstance(original, CompleteManifest) and (original.origin.started, original.file) not in self.originals:
            self.originals.append((original.origin.started, original.file))
        self.earlier = Earlier(
            at=now,
            originals=tuple(self.originals),
            copy_manifest=copy.file,
            relation=seen.relation,
            take_up=seen.take_up,
        )
        self.seen.append(seen)
        return seen

    def rows(self) -> dict[bytes, DifferingRow]:
        """The rows that the last audit kept, by path."""
        relation = self.seen[-1].relation
        assert relation is not None
        return {row.path: row for row in differing_rows(relation)}

    def _remember_originals(self) -> None:
        if self.earlier is not None:
            self.earlier = Earlier(
                at=self.earlier.at,
                originals=tuple(self.originals),
                copy_manifest=self.earlier.copy_manifest,
                relation=self.earlier.relation,
                take_up=self.earlier.take_up,
            )

"""Files that programs keep open, among what a copy lacks: databases and their logs, mail stores, disks of machines.

What is open is skipped by one tool and copied half written by another. A database without the log beside it opens, and
has lost what the log held. Names alone tell these files, by the endings that are in general use.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import timedelta
from pathlib import Path
from typing import Any, Final

import pyarrow as pa
import pyarrow.compute as pc

from coverage_audit.comparison.relation import read_relation
from coverage_audit.evidence.difference import RowClass, Seen, Sight
from coverage_audit.evidence.instants import to_ns
from coverage_audit.evidence.manifest import Manifest

_LOGS: Final = ("-wal", "-journal")
_ENDINGS: Final = (
    "db|db3|sqlite|sqlite3|mdb|accdb|mdf|ndf|ldf|ibd|myd|myi|fdb|gdb|dbf|edb|pst|ost|nsf|vmdk|vdi|vhdx?|qcow2?|img|raw"
)
_OPEN: Final = rf"(?i)(\.({_ENDINGS})|\.[^./]+({'|'.join(_LOGS)}))$"
_LOG: Final = rf"(?i)\.[^./]+({'|'.join(_LOGS)})$"
_LENIENT: Final = pc.CastOptions(target_type=pa.string(), allow_invalid_utf8=True)
_COLUMNS: Final = ("path", "row_class", "blind", "o_kind", "o_mtime_ns")
_MOST: Final = 10_000
"""So many logs are looked at: who lacks more lacks nearly all."""


@dataclass
class _Met:
    """What was met so far: how many, and the first."""

    entries: int = 0
    example: bytes = b""

    def add(self, paths: Any) -> None:
        """Take some paths."""
        if len(paths) and not self.entries:
            self.example = paths[0].as_py()
        self.entries += len(paths)


@dataclass
class _Open:
    lacking: _Met = field(default_factory=_Met)
    written: _Met = field(default_factory=_Met)
    logs: list[bytes] = field(default_factory=list)


def open_files(original: Manifest, relation: Path) -> Iterator[Seen]:
    """Say how many such files a copy lacks, how many were written while the original was listed, and logs that lack.

    Raises ComparisonError if the relation cannot be read.
    """
    found = _Open()
    since = to_ns(original.origin.started + (original.origin.clock_offset or timedelta(0)))
    for part in read_relation(relation, _COLUMNS):
        _take(found, part, since)
    alone = _without_base(found.logs, relation)
    for sight, entries, example in (
        (Sight.OPEN, found.lacking.entries, found.lacking.example),
        (Sight.WRITTEN_MEANWHILE, found.written.entries, found.written.example),
        (Sight.WITHOUT_LOG, len(alone), alone[0] if alone else b""),
    ):
        if entries:
            yield Seen(sight=sight, entries=entries, example=example, beside=_base(example))


def _take(found: _Open, part: Any, since: int) -> None:
    rows = part.filter(pc.and_(pc.equal(part["o_kind"], "f"), pc.invert(part["blind"])))
    text = pc.cast(rows["path"], options=_LENIENT)
    is_open = pc.match_substring_regex(text, _OPEN)
    found.lacking.add(rows["path"].filter(is_open))
    found.written.add(rows["path"].filter(pc.and_(is_open, pc.greater_equal(rows["o_mtime_ns"], since))))
    missing = pc.and_(pc.equal(rows["row_class"], RowClass.MISSING.value), pc.match_substring_regex(text, _LOG))
    found.logs += rows["path"].filter(missing).slice(0, max(0, _MOST - len(found.logs))).to_pylist()


def _without_base(logs: list[bytes], relation: Path) -> list[bytes]:
    """Return those logs whose database is not missing itself."""
    if not logs:
        return []
    bases = pa.array([_base(log) for log in logs], pa.binary())
    gone: set[bytes] = set()
    for part in read_relation(relation, ("path", "row_class")):
        missing = pc.equal(part["row_class"], RowClass.MISSING.value)
        gone.update(part["path"].filter(pc.and_(missing, pc.is_in(part["path"], value_set=bases))).to_pylist())
    return [log for log in logs if _base(log) not in gone]


def _base(path: bytes) -> bytes:
    """Return the path of the database that a log belongs to (b"": it is no log)."""
    ending = next((each.encode() for each in _LOGS if path.lower().endswith(each.encode())), None)
    return path[: -len(ending)] if ending else b""

"""Files that bear another ctime than before, with the same size and time: touched, whatever they hold now.

Nobody can put a ctime back by ordinary means, so that it shows what was written to and given its old time again. It
shows changed permissions and new links just so. Groups of rows whose ctimes are equal in both listings are not
read; the former listing only where much bears a new one.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from datetime import timedelta
from typing import Any, Final

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from coverage_audit.comparison.leaving_out import KEPT, LeavingOut
from coverage_audit.comparison.side import FILE
from coverage_audit.comparison.types import Matched
from coverage_audit.evidence.difference import Tally
from coverage_audit.evidence.engine import Engine
from coverage_audit.evidence.instants import to_ns
from coverage_audit.evidence.manifest import Manifest
from coverage_audit.evidence.store import RowReader
from coverage_audit.evidence.store.columns import single

LEAST_SHARE: Final = 0.01
"""Fewer files than this share of all count as none."""

_MARGIN: Final = timedelta(hours=1)  # clocks are known to seconds
_AT_A_TIME: Final = 16
_COLUMNS: Final = ("key_hi", "key_lo", "kind", "size", "mtime_ns", "ctime_ns")
_ROWS: Final = pa.schema(
    [(name, pa.uint64() if name.startswith("key") else pa.int64()) for name in _COLUMNS if name != "kind"]
)
_TOUCHED: Final = """
SELECT count(*) AS files, coalesce(sum(young.size), 0)::BIGINT AS bytes FROM young JOIN former USING (key_hi, key_lo)
WHERE young.size = former.size AND abs(young.mtime_ns::HUGEINT - former.mtime_ns) < $1::BIGINT
    AND young.ctime_ns <> former.ctime_ns
"""


def touched(engine: Engine, matched: Matched) -> Tally:
    """Return what was touched since a place's former listing (the original of `matched`) and looks as it did then.

    Nothing where ctimes are not shown. Raises EvidenceError and ComparisonError where a file cannot be read, or memory
    or disk is short.
    """
    before, now, files = matched.original, matched.copy, matched.total.files
    if {"ctime", "mtime", "size"} & (before.origin.lacks | now.origin.lacks) or not files:
        return Tally()
    with RowReader(before.file) as former, RowReader(now.file) as later:
        known = {(each.digest, each.ctimes_digest) for each in former.groups}
        same = {(each.digest, each.ctimes_digest) for each in later.groups} & known
        bearing = _reader(_young(before, later, same, LeavingOut(matched.leave_out)))
        engine.execute("CREATE TEMP TABLE young AS FROM bearing", tables={"bearing": bearing})
        count = engine.query("SELECT count(*) AS count FROM young")["count"][0].as_py()
        if count < LEAST_SHARE * files:
            return Tally()
        there = {"former": _reader(_parts(former, same))}
        (row,) = engine.query(_TOUCHED, [matched.mode.granularity_ns], there).to_pylist()
        return Tally(files=row["files"], bytes=row["bytes"])


def _young(before: Manifest, later: RowReader, same: set[tuple[bytes, bytes]], leaving: LeavingOut) -> Iterator[Any]:
    """Yield the files that bear a ctime of after the listing before, and are not left out."""
    offset, since = later.footer.origin.clock_offset, before.census.newest_ctime_ns
    if since is not None and offset is not None:  # neither a wrong clock nor a file of the future hides the others
        since = min(since, to_ns(before.origin.started + offset - _MARGIN))
    for groups in _groups(later, same):
        rows = later.read(groups, _COLUMNS)
        young = pc.equal(rows["kind"], "f")
        if since is not None:
            young = pc.and_(young, pc.greater(rows["ctime_ns"], since))
        young = pc.fill_null(young, False)  # noqa: FBT003 - as Arrow has it
        rows = rows.filter(young)
        if leaving and len(rows):
            paths = single(later.read(groups, ("path",)).filter(young)["path"])
            rows = rows.filter(pa.array(leaving.which_of(paths, np.full(len(rows), FILE)) == KEPT))
        yield rows


def _parts(reader: RowReader, same: set[tuple[bytes, bytes]]) -> Iterator[Any]:
    for groups in _groups(reader, same):
        rows = reader.read(groups, _COLUMNS)
        yield rows.filter(pc.equal(rows["kind"], "f"))


def _groups(reader: RowReader, same: set[tuple[bytes, bytes]]) -> Iterator[Sequence[int]]:
    numbers = [n for n, each in enumerate(reader.groups) if (each.digest, each.ctimes_digest) not in same]
    for first in range(0, len(numbers), _AT_A_TIME):
        yield numbers[first : first + _AT_A_TIME]


def _reader(parts: Iterable[Any]) -> pa.RecordBatchReader:
    batches = (batch for part in parts for batch in part.select(_ROWS.names).cast(_ROWS).to_batches())
    return pa.RecordBatchReader.from_batches(_ROWS, batches)

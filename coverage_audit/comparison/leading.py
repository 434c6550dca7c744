"""Which side leads: whether the newest files appear first in the original or in the copy, by their ctimes.

Copying sets a file's mtime to that of its source, and its ctime to the moment of copying: the side on which both are
the same is where it was written, and of two ctimes the earlier is where it was first. Clocks are set right by what the
boxes showed. Only row groups that hold files young enough are read.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from datetime import datetime, timedelta
from typing import Any, Final

import pyarrow as pa
import pyarrow.compute as pc

from coverage_audit.comparison.relation import read_relation
from coverage_audit.comparison.types import Matched, Workspace
from coverage_audit.evidence.difference import RowClass
from coverage_audit.evidence.direction import Direction
from coverage_audit.evidence.engine import Engine, open_engine
from coverage_audit.evidence.instants import odd_after, span_ns, to_ns
from coverage_audit.evidence.manifest import Manifest
from coverage_audit.evidence.store import RowReader

_COLUMNS: Final = ("key_hi", "key_lo", "kind", "size", "mtime_ns", "ctime_ns")
_FRESH: Final = pa.schema(
    [
        ("key_hi", pa.uint64()),
        ("key_lo", pa.uint64()),
        ("size", pa.int64()),
        ("mtime_ns", pa.int64()),
        ("ctime_ns", pa.int64()),
    ]
)
_ALONE: Final = pa.schema([("path", pa.binary()), ("c_mtime_ns", pa.int64()), ("c_ctime_ns", pa.int64())])
_CLASSES: Final = pa.array([RowClass.EXTRA.value, RowClass.NEWER.value])
_AT_A_TIME: Final = 16

_MADE: Final = timedelta(seconds=2)
"""So little may lie between a file's last writing and its last change of state where it was written."""

_MARGIN: Final = timedelta(minutes=5)
"""By so much one of two ctimes must be the earlier: clocks are known to seconds, and copying takes its time."""

# $1: granularity. $2: what is added to the copy's ctimes for the original's clock. $3: margin. $4: made there.
_BOTH: Final = """
SELECT
    count(*) FILTER (c.ctime_ns + $2::BIGINT + $3::BIGINT < o.ctime_ns) AS copy_first,
    count(*) FILTER (o.ctime_ns + $3::BIGINT < c.ctime_ns + $2::BIGINT) AS original_first
FROM o JOIN c USING (key_hi, key_lo)
WHERE o.size = c.size AND abs(o.mtime_ns - c.mtime_ns) < $1::BIGINT
"""
_HERE: Final = "SELECT count(*) AS made FROM o WHERE abs(ctime_ns - mtime_ns) <= $1::BIGINT"
_ALONE_SQL: Final = """
SELECT count(*) AS made, min(path) AS example FROM alone WHERE abs(c_ctime_ns - c_mtime_ns) <= $1::BIGINT
"""


def direction(matched: Matched, *, since: datetime, work: Workspace) -> Direction | None:
    """Say where what changed after `since` was first. None: it cannot be told, as times or clocks are not shown.

    Raises EvidenceError and ComparisonError where a file cannot be read, or memory or disk is short.
    """
    sides = matched.original.origin, matched.copy.origin
    offsets = [side.clock_offset for side in sides]
    lacks = set().union(*(side.lacks for side in sides))
    times = matched.mode.times and not (matched.mode.by_size or matched.mode.shift or matched.mode.times_lost)
    if None in offsets or {"mtime", "ctime", "size"} & lacks or not times:
        return None
    original, copy = (offset or timedelta(0) for offset in offsets)
    with open_engine(work.memory, work.folder) as engine:
        engine.execute(
            "CREATE TEMP TABLE o AS SELECT * FROM fresh",
            tables={"fresh": _reader(_FRESH, _fresh(matched.original, since + original))},
        )
        both = _one(
            engine,
            _BOTH,
            [matched.mode.granularity_ns, span_ns(original - copy), span_ns(_MARGIN)],
            {"c": _reader(_FRESH, _fresh(matched.copy, since + copy))},
        )
        made = [span_ns(_MADE) + matched.mode.granularity_ns]
        here = _one(engine, _HERE, made, {})
        there = _one(engine, _ALONE_SQL, made, {"alone": _reader(_ALONE, _alone(matched, since + copy))})
    return Direction(
        since=since,
        original_first=both["original_first"],
        copy_first=both["copy_first"],
        made_in_original=here["made"],
        made_in_copy=there["made"],
        example=there["example"] or b"",
    )


def _fresh(side: Manifest, since: datetime) -> Iterator[Any]:
    """Yield the files of a listing that bear a time after `since`, and none that no clock could have given them."""
    after, last = to_ns(since), odd_after(side.origin.started)
    with RowReader(side.file) as reader:
        groups = [n for n, each in enumerate(reader.groups) if (each.newest_mtime_ns or -1) > after]
        for first in range(0, len(groups), _AT_A_TIME):
            rows = reader.read(groups[first : first + _AT_A_TIME], _COLUMNS)
            young = pc.and_(pc.greater(rows["mtime_ns"], after), pc.less_equal(rows["mtime_ns"], last))
            rows = rows.filter(pc.and_(young, pc.equal(rows["kind"], "f")))
            yield from rows.select(_FRESH.names).cast(_FRESH).to_batches()


def _alone(matched: Matched, since: datetime) -> Iterator[Any]:
    """Yield the files that the copy alone has, or has newer, and that bear a time after `since`."""
    after, last = to_ns(since), odd_after(matched.copy.origin.started)
    for rows in read_relation(matched.relation, [*_ALONE.names, "row_class", "c_kind"]):
        young = pc.and_(pc.greater(rows["c_mtime_ns"], after), pc.less_equal(rows["c_mtime_ns"], last))
        chosen = pc.and_(pc.and_(young, pc.equal(rows["c_kind"], "f")), pc.is_in(rows["row_class"], value_set=_CLASSES))
        yield from rows.filter(chosen).select(_ALONE.names).cast(_ALONE).to_batches()


def _reader(schema: pa.Schema, batches: Iterator[Any]) -> pa.RecordBatchReader:
    return pa.RecordBatchReader.from_batches(schema, batches)


def _one(engine: Engine, sql: str, params: Sequence[object], tables: dict[str, Any]) -> dict[str, Any]:
    (row,) = engine.query(sql, params, tables).to_pylist()
    return dict(row)

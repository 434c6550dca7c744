"""The rows of a change of much at once, and what a copy still holds of the state before it.

Kept as a Parquet file beside the relations: one row for each entry that went, was emptied or was rewritten, with the
values it had before; and one for each that came with another suffix in the stead of one that went, with that one's.
"""

from __future__ import annotations

from pathlib import Path
from typing import Any, Final

import pyarrow as pa

from coverage_audit.comparison.relation import described, read_relation
from coverage_audit.errors import ComparisonError
from coverage_audit.evidence.difference import Tally
from coverage_audit.evidence.engine import Engine

FALLEN_SCHEMA_NAME = "coverage-audit/fallen/1"

FALLEN = pa.schema(
    [
        pa.field("key_hi", pa.uint64(), nullable=False),
        pa.field("key_lo", pa.uint64(), nullable=False),
        pa.field("sort", pa.string(), nullable=False),  # gone, emptied, changed, suffixed
        pa.field("stead_hi", pa.uint64()),  # of what went in whose stead it came; null unless suffixed
        pa.field("stead_lo", pa.uint64()),
        pa.field("kind", pa.string()),  # as it was before (suffixed: as what went was)
        pa.field("size", pa.int64()),
        pa.field("mtime_ns", pa.int64()),
        pa.field("target", pa.binary()),
    ]
)
"""Columns of the rows of a change of much at once."""

_TABLE: Final = """
CREATE TEMP TABLE fallen (
    key_hi UBIGINT, key_lo UBIGINT, sort VARCHAR, stead_hi UBIGINT, stead_lo UBIGINT,
    kind entry_kind, size BIGINT, mtime BIGINT, target BLOB)
"""
_TAKE: Final = """
INSERT INTO fallen SELECT key_hi, key_lo, sort, stead_hi, stead_lo, kind, size, within_reach(mtime_ns), target FROM part
"""

# A row is held back only where the copy's own row is the state before, by the same measure by which copies hold files.
_HELD_BACK: Final = """
CREATE TEMP TABLE held_back AS
SELECT l.i FROM lack l JOIN fallen f USING (key_hi, key_lo)
WHERE f.sort IN ('emptied', 'changed') AND l.class NOT IN ('missing', 'extra', 'content', 'hollow')
    AND holds(l.c_kind, l.c_size, l.c_mtime, l.c_target, f.kind, f.size, f.mtime, f.target)
UNION
SELECT l.i FROM lack l JOIN fallen f USING (key_hi, key_lo)
    JOIN lack e ON e.key_hi = f.stead_hi AND e.key_lo = f.stead_lo
WHERE f.sort = 'suffixed' AND l.class = 'missing' AND NOT l.blind AND e.class = 'extra'
    AND holds(e.c_kind, e.c_size, e.c_mtime, e.c_target, f.kind, f.size, f.mtime, f.target)
"""

_FORMER: Final = """
SELECT count(*) AS files, coalesce(sum(f.size) FILTER (f.kind = 'f'), 0)::BIGINT AS bytes
FROM fallen f JOIN lack l USING (key_hi, key_lo)
WHERE f.sort = 'gone' AND l.class = 'extra'
        AND holds(l.c_kind, l.c_size, l.c_mtime, l.c_target, f.kind, f.size, f.mtime, f.target)
    OR f.sort IN ('emptied', 'changed') AND l.i IN (SELECT i FROM held_back)
"""

_MISSING: Final = """
SELECT count(*) FILTER (o_kind <> 'd') AS files, coalesce(sum(o_size) FILTER (o_kind = 'f'), 0)::BIGINT AS bytes
FROM judged WHERE verdict = 'held back' AND class = 'missing'
"""


def load_fallen(engine: Engine, rows: Path | None) -> None:
    """Fill the engine's table `held_back` with the rows of `lack` that are that change, and nothing else.

    Raises ComparisonError where the file is missing, damaged or another.
    """
    engine.execute(_TABLE)
    if rows is not None:
        if described(rows).get("schema") != FALLEN_SCHEMA_NAME:
            raise ComparisonError(f"{rows} does not hold what went or changed at once")
        for part in read_relation(rows, FALLEN.names):
            engine.execute(_TAKE, tables={"part": part})
    engine.execute(_HELD_BACK)


def still_held(engine: Engine) -> Tally:
    """Return how much of what went or changed at once the copy holds as it was before."""
    return _tally(engine.query(_FORMER))


def held_back_missing(engine: Engine) -> Tally:
    """Return how much of what is held back the copy has not at all, under its new name."""
    return _tally(engine.query(_MISSING))


def _tally(answer: Any) -> Tally:
    return Tally(files=answer["files"][0].as_py(), bytes=answer["bytes"][0].as_py())

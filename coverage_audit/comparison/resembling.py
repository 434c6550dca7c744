"""What counts against two copies alike: the same files missing, the same damage. A sign that one is made of the other.

Only what counts is held together: what is pending is lacking in every copy. An extra file says nothing: two mirrors
that never delete keep the same ones.
"""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any, Final

import pyarrow as pa
import pyarrow.compute as pc

from coverage_audit.comparison.relation import read_relation
from coverage_audit.comparison.types import Workspace
from coverage_audit.evidence.difference import RowVerdict
from coverage_audit.evidence.engine import open_engine
from coverage_audit.evidence.kinship import Alike

_DAMAGE: Final = (RowVerdict.ITS_OWN, RowVerdict.CONTENT)
_AGAINST: Final = pa.array([RowVerdict.COUNTS.value, *(verdict.value for verdict in _DAMAGE)])
_SCHEMA: Final = pa.schema(
    [
        ("key_hi", pa.uint64()),
        ("key_lo", pa.uint64()),
        ("path", pa.binary()),
        ("verdict", pa.string()),
        ("row_class", pa.string()),
        ("c_kind", pa.string()),
        ("c_size", pa.int64()),
        ("c_mtime_ns", pa.int64()),
        ("c_digest", pa.binary()),
    ]
)

_SQL: Final = f"""
WITH met AS (
    SELECT
        first.path AS first_path, second.path AS second_path,
        coalesce(first.row_class = second.row_class AND first.c_kind IS NOT DISTINCT FROM second.c_kind
            AND first.c_size IS NOT DISTINCT FROM second.c_size
            AND first.c_mtime_ns IS NOT DISTINCT FROM second.c_mtime_ns
            AND first.c_digest IS NOT DISTINCT FROM second.c_digest, false) AS alike,
        coalesce(first.verdict IN ({", ".join(f"'{each}'" for each in _DAMAGE)}) AND second.verdict = first.verdict,
            false) AS damaged
    FROM first FULL JOIN second ON first.key_hi = second.key_hi AND first.key_lo = second.key_lo
)
SELECT
    count(*) FILTER (alike AND NOT damaged) AS lacking,
    count(*) FILTER (alike AND damaged) AS damaged,
    count(*) FILTER (NOT alike AND first_path IS NOT NULL) AS first_only,
    count(*) FILTER (NOT alike AND second_path IS NOT NULL) AS second_only,
    coalesce(min(first_path) FILTER (alike AND damaged), min(first_path) FILTER (alike)) AS example
FROM met
"""  # noqa: S608 - the words are the program's own


def alike(first: Path, second: Path, work: Workspace) -> Alike:
    """Hold the kept relations of two copies together. Raises ComparisonError where one cannot be read."""
    with open_engine(work.memory, work.folder) as engine:
        tables = {"first": _reader(first), "second": _reader(second)}
        (found,) = engine.query(_SQL, tables=tables).to_pylist()
    return Alike(**{**found, "example": found["example"] or b""})


def _reader(relation: Path) -> pa.RecordBatchReader:
    return pa.RecordBatchReader.from_batches(_SCHEMA, _against(relation))


def _against(relation: Path) -> Iterator[Any]:
    for rows in read_relation(relation, [*_SCHEMA.names, "seen"]):
        counts = rows.filter(pc.and_(rows["seen"], pc.is_in(rows["verdict"], value_set=_AGAINST)))
        yield from counts.select(_SCHEMA.names).cast(_SCHEMA).to_batches()

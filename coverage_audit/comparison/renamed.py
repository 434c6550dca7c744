"""Files that are missing under their path and lie elsewhere in the copy: renamed, moved, or in a renamed folder.

Told by name, size and time. It is a hint for people; nothing is held because of it.
"""

from __future__ import annotations

from collections.abc import Iterator
from datetime import timedelta
from pathlib import Path
from typing import Any

import pyarrow as pa
import pyarrow.compute as pc

from coverage_audit.comparison.relation import read_relation
from coverage_audit.evidence.difference import Mode, RowClass, Tally
from coverage_audit.evidence.engine import Engine

_NAMED = pa.schema([("name", pa.binary()), ("size", pa.int64()), ("mtime_ns", pa.int64())])

# Two times less than a granularity ($1) apart lie in the same step of it or in neighbouring ones: joined on steps, then
# measured. Of files that cannot be told apart (empty ones by the thousand) no more count than either side has.
_SQL = """
WITH m AS (
    SELECT name, size, mtime_ns::HUGEINT AS mtime, mtime_ns::HUGEINT // $1::BIGINT AS step, count(*) AS n
    FROM missing GROUP BY ALL
),
e AS (
    SELECT name, size, mtime_ns::HUGEINT + $2::BIGINT AS mtime, (mtime_ns::HUGEINT + $2::BIGINT) // $1::BIGINT AS step,
        count(*) AS n
    FROM extra GROUP BY ALL
),
near AS (SELECT name, size, mtime, n, unnest([step - 1, step, step + 1]) AS step FROM e),
met AS (
    SELECT m.name, m.size, m.mtime AS m_mtime, m.n AS m_n, near.mtime AS e_mtime, near.n AS e_n
    FROM m JOIN near ON m.name = near.name AND m.size = near.size AND m.step = near.step
    WHERE abs(m.mtime - near.mtime) < $1::BIGINT
),
sought AS (SELECT name, size, sum(m_n) AS n FROM (SELECT DISTINCT name, size, m_mtime, m_n FROM met) GROUP BY ALL),
found AS (SELECT name, size, sum(e_n) AS n FROM (SELECT DISTINCT name, size, e_mtime, e_n FROM met) GROUP BY ALL)
SELECT
    coalesce(sum(least(sought.n, found.n)), 0)::BIGINT AS files,
    coalesce(sum(least(sought.n, found.n) * size), 0)::BIGINT AS bytes
FROM sought JOIN found USING (name, size)
"""


def under_old_name(engine: Engine, relation: Path, mode: Mode) -> Tally:
    """Count the missing files that the copy has elsewhere under the same last name, size and time.

    Raises ComparisonError when memory or disk is short.
    """
    answer = engine.query(
        _SQL,
        [mode.granularity_ns, mode.shift // timedelta(microseconds=1) * 1000],
        {
            "missing": pa.RecordBatchReader.from_batches(_NAMED, _files(relation, RowClass.MISSING, "o")),
            "extra": pa.RecordBatchReader.from_batches(_NAMED, _files(relation, RowClass.EXTRA, "c")),
        },
    )
    return Tally(files=answer["files"][0].as_py(), bytes=answer["bytes"][0].as_py())


def _files(relation: Path, row_class: RowClass, side: str) -> Iterator[Any]:
    columns = [f"{side}_kind", f"{side}_size", f"{side}_mtime_ns"]
    for rows in read_relation(relation, ["path", "row_class", *columns]):
        files = rows.filter(pc.and_(pc.equal(rows["row_class"], row_class.value), pc.equal(rows[columns[0]], "f")))
        name = pc.replace_substring_regex(files["path"], r"^(?s:.*/)", "")
        yield from pa.table([name, files[columns[1]], files[columns[2]]], schema=_NAMED).to_batches()

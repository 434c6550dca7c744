"""Files that went while a file of the same name with another suffix came: what encryption of many files looks like.

`report.ods` may have become `report.ods.xyz` or `report.xyz`; the suffix that most of them bear is told. Names are
bytes. It is told by names alone; that the old name went and the new one came in the same time is what is observed.
"""

from __future__ import annotations

from typing import Any, Final

import pyarrow as pa
import pyarrow.compute as pc

from coverage_audit.evidence.engine import Engine

LEVELS: Final = 4
"""So many suffixes may have been added to a name at once (`report.ods.id-17.mail.xyz`)."""

_LAST: Final = r"^(?s:.*[^/])\.[^./]+$"
_CUT: Final = r"\.[^./]+$"
_SUFFIX: Final = r"^(?s:.*)(\.[^./]+)$"

# Each file that came stands for one that went, and each that went has one in its stead: the longest name first.
_PARTNERS: Final = """
CREATE OR REPLACE TEMP TABLE partner AS
WITH met AS (
    SELECT base.i AS arrived, base.suffix, went.i AS gone, base.level AS distance
    FROM base JOIN went ON went.path = base.path
    UNION ALL
    SELECT base.i, base.suffix, went.i, 9 FROM base JOIN went ON went.stem = base.path AND base.level = 1
),
one AS (SELECT * FROM met QUALIFY row_number() OVER (PARTITION BY arrived ORDER BY distance, gone) = 1),
each AS (SELECT * FROM one QUALIFY row_number() OVER (PARTITION BY gone ORDER BY distance, arrived) = 1)
SELECT arrived, gone, suffix FROM each
WHERE suffix = (SELECT suffix FROM each GROUP BY suffix ORDER BY count(*) DESC, suffix LIMIT 1)
"""


def begin(engine: Engine) -> None:
    """Make the tables that `take` fills: `went` and `base`."""
    engine.execute("CREATE OR REPLACE TEMP TABLE went (i BIGINT, path BLOB, stem BLOB)")
    engine.execute("CREATE OR REPLACE TEMP TABLE base (i BIGINT, path BLOB, suffix BLOB, level INTEGER)")


def take_gone(engine: Engine, numbers: Any, paths: Any) -> None:
    """Add files that went, by their numbers."""
    stems = pc.if_else(pc.match_substring_regex(paths, _LAST), _cut(paths), pa.scalar(None, pa.binary()))
    part = pa.table({"i": numbers, "path": paths, "stem": stems})
    engine.execute("INSERT INTO went FROM part", tables={"part": part})


def take_arrived(engine: Engine, numbers: Any, paths: Any) -> None:
    """Add files that came, by their numbers."""
    suffix = pc.replace_substring_regex(paths, _SUFFIX, r"\1")
    for level in range(1, LEVELS + 1):
        has_one = pc.match_substring_regex(paths, _LAST)
        numbers, paths, suffix = numbers.filter(has_one), _cut(paths.filter(has_one)), suffix.filter(has_one)
        if not len(paths):
            return
        columns = {"i": numbers, "path": paths, "suffix": suffix, "level": pa.repeat(level, len(paths))}
        engine.execute("INSERT INTO base FROM part", tables={"part": pa.table(columns)})


def join(engine: Engine) -> None:
    """Make the table `partner`: of the suffix that most bear, who came in whose stead."""
    engine.execute(_PARTNERS)


def _cut(paths: Any) -> Any:
    return pc.replace_substring_regex(paths, _CUT, "")

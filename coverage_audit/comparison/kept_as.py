"""How the copy keeps what it holds: hard links as files of their own, sparse files with all their zeros."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any, Final

import numpy as np
import pyarrow as pa

from coverage_audit.comparison.listed_rows import paths_listed
from coverage_audit.comparison.relation import read_relation
from coverage_audit.evidence.difference import Seen, Sight
from coverage_audit.evidence.engine import Engine
from coverage_audit.evidence.manifest import Manifest
from coverage_audit.evidence.store import RowReader
from coverage_audit.evidence.store.columns import integers, octets_of, shown
from coverage_audit.evidence.store.counting import hollow_files

_AT_A_TIME: Final = 32
_COLUMNS: Final = ("key_hi", "key_lo", "kind", "size", "blocks", "links")
_TABLES: Final = (
    """CREATE OR REPLACE TEMP TABLE marked (
        key_hi UBIGINT, key_lo UBIGINT, number BIGINT, size BIGINT, linked BOOLEAN, hollow BOOLEAN, void BOOLEAN)""",
    "CREATE OR REPLACE TEMP TABLE kept (number BIGINT, sight VARCHAR)",
)
_MARK: Final = "INSERT INTO marked SELECT key_hi, key_lo, number, size, linked, hollow, blocks = 0 FROM part"
_MEET: Final = """
INSERT INTO kept
SELECT m.number, unnest([
    if(m.linked AND p.links = 1, 'unlinked', NULL),
    if(m.hollow AND p.shown AND NOT p.hollow AND p.size = m.size, 'filled', NULL)])
FROM marked m JOIN part p USING (key_hi, key_lo)
"""
_LACK: Final = """
INSERT INTO kept
SELECT number, 'void' FROM marked JOIN part USING (key_hi, key_lo) WHERE void AND row_class = 'missing'
"""
_SUMS: Final = """
SELECT sight, count(*) AS entries, min(number) AS first FROM kept WHERE sight IS NOT NULL GROUP BY sight ORDER BY sight
"""
_SIGHTS: Final = {"unlinked": Sight.UNLINKED, "filled": Sight.FILLED, "void": Sight.PLACEHOLDER}


def kept_as(engine: Engine, original: Manifest, copy: Manifest, relation: Path) -> Iterator[Seen]:
    """Say how many files of the original the copy keeps otherwise, with one of each.

    Nothing is read where the original has neither hard links nor hollow files, or the copy as many of both. Raises
    EvidenceError and ComparisonError where a file cannot be read.
    """
    mine, other = original.census, copy.census
    if mine.linked <= other.linked and mine.hollow <= other.hollow:
        return
    for table in _TABLES:
        engine.execute(table)
    _go_over(engine, original, _MARK)
    _go_over(engine, copy, _MEET)
    for rows in read_relation(relation, ["key_hi", "key_lo", "row_class"]):
        engine.execute(_LACK, tables={"part": rows})
    for said in engine.query(_SUMS).to_pylist():
        path = paths_listed(original, [said["first"]])[said["first"]]
        yield Seen(sight=_SIGHTS[said["sight"]], entries=said["entries"], example=path)


def _go_over(engine: Engine, manifest: Manifest, how: str) -> None:
    begin = 0
    with RowReader(manifest.file) as reader:
        for first in range(0, len(reader.groups), _AT_A_TIME):
            numbers = range(first, min(first + _AT_A_TIME, len(reader.groups)))
            rows = reader.read(numbers, _COLUMNS)
            engine.execute(how, tables={"part": _looked_at(rows, begin, narrow=how is _MARK)})
            begin += len(rows)


def _looked_at(rows: Any, begin: int, *, narrow: bool) -> Any:
    plain = np.frombuffer(octets_of(rows["kind"]), np.uint8) == ord("f")
    beside = {
        "number": np.arange(begin, begin + len(rows)),
        "linked": plain & (integers(rows["links"]) > 1),
        "hollow": hollow_files(rows, plain),
        "shown": plain & shown(rows["blocks"]),
    }
    for name, values in beside.items():
        rows = rows.append_column(name, pa.array(values))
    chosen = beside["linked"] | beside["hollow"] if narrow else plain
    return rows.filter(pa.array(chosen))

"""What became of one place: two of its listings held against each other, and what of it changed at once.

Stage 1 of the comparison finds the rows; groups of rows that are equal in both are skipped there. Here they are added
up, and where the figures show that much changed at once, its rows are kept: the next audits ask what of that still
stands, and copies are asked which of them still hold the state before.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Final
from uuid import uuid4

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from coverage_audit.comparison import suffixes
from coverage_audit.comparison.compare import match
from coverage_audit.comparison.fallen import FALLEN, FALLEN_SCHEMA_NAME
from coverage_audit.comparison.picking import paths_at
from coverage_audit.comparison.relation import RelationWriter, read_relation
from coverage_audit.comparison.touched import touched
from coverage_audit.comparison.types import Matched, Workspace
from coverage_audit.evidence.difference import Tally
from coverage_audit.evidence.engine import Engine, open_engine
from coverage_audit.evidence.instants import to_ns
from coverage_audit.evidence.manifest import Manifest
from coverage_audit.evidence.turnover import FormerFile, Sign, Turnover

SHOWN: Final = 5
"""So many of the largest and of the oldest files are named."""

_COLUMNS: Final = (
    "key_hi", "key_lo", "path", "row_class", "blind",
    "o_kind", "o_size", "o_mtime_ns", "o_target", "c_kind", "c_size", "c_mtime_ns",
)  # fmt: skip

_TURNED: Final = """
CREATE TEMP TABLE turned (
    i BIGINT, key_hi UBIGINT, key_lo UBIGINT, name BLOB, class VARCHAR, blind BOOLEAN,
    kind VARCHAR, size BIGINT, mtime BIGINT, target BLOB, now_kind VARCHAR, now_size BIGINT, now_mtime BIGINT)
"""

# Of files that cannot be told apart (empty ones by the thousand) no more have moved than came.
_MOVED: Final = """
CREATE TEMP TABLE moved AS
WITH
w AS (SELECT i, name, size, mtime, row_number() OVER (PARTITION BY name, size, mtime ORDER BY i) AS n
    FROM turned WHERE class = 'missing' AND kind = 'f'),
c AS (SELECT name, now_size AS size, now_mtime AS mtime,
        row_number() OVER (PARTITION BY name, now_size, now_mtime ORDER BY i) AS n
    FROM turned WHERE class = 'extra' AND now_kind = 'f')
SELECT w.i FROM w JOIN c USING (name, size, mtime, n)
"""

_SORTED: Final = """
CREATE TEMP TABLE sorted AS
SELECT t.*, CASE
    WHEN class = 'extra' THEN 'arrived'
    WHEN class = 'missing' THEN if(t.i IN (SELECT i FROM moved), 'moved', 'gone')
    WHEN kind = 'f' AND now_kind = 'f' AND size > 0 AND now_size = 0 THEN 'emptied'
    ELSE 'changed'
END AS sort
FROM turned t
WHERE NOT (class = 'missing' AND blind) AND coalesce(kind, now_kind) <> 'd'
"""

_FIGURES: Final = """
SELECT sort, count(*) AS files,
    coalesce(sum(if(sort = 'arrived', now_size, size))
        FILTER (if(sort = 'arrived', now_kind, kind) = 'f'), 0)::BIGINT AS bytes,
    coalesce(sum(greatest(0, size - if(now_kind = 'f', now_size, 0)))
        FILTER (sort IN ('changed', 'emptied') AND kind = 'f'), 0)::BIGINT AS shrunk
FROM sorted GROUP BY sort
"""

_SUFFIXED: Final = """
SELECT count(*) AS files, coalesce(sum(size), 0)::BIGINT AS bytes, any_value(suffix) AS suffix
FROM partner JOIN sorted ON sorted.i = partner.gone
"""

_ROWS: Final = """
SELECT key_hi, key_lo, sort, NULL::UBIGINT AS stead_hi, NULL::UBIGINT AS stead_lo,
    kind, size, mtime AS mtime_ns, target
FROM sorted WHERE list_contains($1::VARCHAR[], sort)
UNION ALL
SELECT a.key_hi, a.key_lo, 'suffixed', g.key_hi, g.key_lo, g.kind, g.size, g.mtime, g.target
FROM partner JOIN sorted a ON a.i = partner.arrived JOIN sorted g ON g.i = partner.gone
WHERE list_contains($1::VARCHAR[], 'suffixed')
"""

_OF_SIGN: Final = {
    Sign.WENT: ("gone", "emptied"),
    Sign.SUFFIXED: ("gone", "suffixed"),
    Sign.REWRITTEN: ("changed",),
}

Judge = Callable[[Turnover], tuple[Sign, ...]]
"""Says what a turnover shows."""


@dataclass(frozen=True, kw_only=True)
class Turned:
    """A turnover, what it shows, and the rows of what changed at once (None: it shows nothing)."""

    turnover: Turnover
    signs: tuple[Sign, ...]
    rows: Path | None = None


def turn(
    before: Manifest,
    now: Manifest,
    *,
    leave_out: Sequence[str],
    judge: Judge,
    work: Workspace,
    within: Path | None = None,
) -> Turned:
    """Hold a place's listing against a former one of it, and keep the rows of what changed at once.

    `within`: only as far as the rows of a change that was kept before still stand. Raises ComparisonError and
    EvidenceError as `match` does.
    """
    matched = match(before, now, leave_out=leave_out, work=work, keeps_times=True)
    try:
        with open_engine(work.memory, work.folder) as engine:
            _load(engine, matched.relation)
            if within is not None:
                _only(engine, within)
            found = _summed_up(engine, matched)
            if within is None:
                found = replace(found, touched=touched(engine, matched))
            signs = judge(found)
            rows = _kept(engine, matched, signs, work.folder) if signs else None
    finally:
        matched.relation.unlink(missing_ok=True)
    return Turned(turnover=found, signs=signs, rows=rows)


def _load(engine: Engine, relation: Path) -> None:
    engine.execute(_TURNED)
    suffixes.begin(engine)
    begin = 0
    for rows in read_relation(relation, _COLUMNS, batch=1 << 17):
        numbers = pa.array(np.arange(begin, begin + rows.num_rows, dtype=np.int64))
        begin += rows.num_rows
        path = rows["path"].combine_chunks()
        name = pc.replace_substring_regex(path, r"^(?s:.*/)", "")
        part = rows.drop_columns(["path"]).append_column("i", numbers).append_column("name", name)
        engine.execute(
            "INSERT INTO turned SELECT i, key_hi, key_lo, name, row_class, blind, o_kind, o_size, o_mtime_ns, "
            "o_target, c_kind, c_size, c_mtime_ns FROM part",
            tables={"part": part},
        )
        gone = pc.and_(pc.equal(rows["row_class"], "missing"), pc.equal(rows["o_kind"], "f")).combine_chunks()
        suffixes.take_gone(engine, numbers.filter(gone), path.filter(gone))
        came = pc.and_(pc.equal(rows["row_class"], "extra"), pc.equal(rows["c_kind"], "f")).combine_chunks()
        suffixes.take_arrived(engine, numbers.filter(came), path.filter(came))
    engine.execute(_MOVED)
    engine.execute(_SORTED)


def _only(engine: Engine, within: Path) -> None:
    """Forget what went or changed and is none of a change that was kept before."""
    engine.execute("CREATE TEMP TABLE within (key_hi UBIGINT, key_lo UBIGINT)")
    for rows in read_relation(within, ["key_hi", "key_lo"]):
        engine.execute("INSERT INTO within SELECT key_hi, key_lo FROM part", tables={"part": rows})
    engine.execute(
        "DELETE FROM sorted WHERE sort IN ('gone', 'emptied', 'changed') AND NOT EXISTS "
        "(FROM within w WHERE w.key_hi = sorted.key_hi AND w.key_lo = sorted.key_lo)"
    )


def _summed_up(engine: Engine, matched: Matched) -> Turnover:
    engine.execute("DELETE FROM went WHERE i NOT IN (SELECT i FROM sorted WHERE sort = 'gone')")
    suffixes.join(engine)
    sums = {row["sort"]: row for row in engine.query(_FIGURES).to_pylist()}

    def tally(*sorts: str) -> Tally:
        rows = [sums[sort] for sort in sorts if sort in sums]
        return Tally(files=sum(row["files"] for row in rows), bytes=sum(row["bytes"] for row in rows))

    beside = engine.query(_SUFFIXED).to_pylist()[0]
    return Turnover(
        before_at=matched.original.origin.started,
        at=matched.copy.origin.started,
        before=matched.total,
        now=_now(engine, matched),
        gone=tally("gone"),
        moved=tally("moved"),
        arrived=tally("arrived"),
        changed=tally("changed", "emptied"),
        emptied=tally("emptied"),
        shrunk=sum(row["shrunk"] for row in sums.values()),
        suffixed=Tally(files=beside["files"], bytes=beside["bytes"]),
        suffix=beside["suffix"] or b"",
        largest=_shown(engine, matched.relation, "size DESC, i"),
        oldest=_shown(engine, matched.relation, "mtime, i"),
    )


def _now(engine: Engine, matched: Matched) -> Tally:
    """Return what the later listing holds: what the former held, without what went, with what came and grew."""
    grown = engine.query(
        "SELECT coalesce(sum(if(now_kind = 'f', now_size, 0) - if(kind = 'f', size, 0)), 0)::BIGINT AS bytes "
        "FROM turned WHERE class NOT IN ('missing', 'extra')"
    )["bytes"][0].as_py()
    shown = matched.total.files - matched.missing.files + matched.extra.files
    return Tally(files=shown, bytes=matched.total.bytes - matched.missing.bytes + matched.extra.bytes + grown)


def _shown(engine: Engine, relation: Path, order: str) -> tuple[FormerFile, ...]:
    chosen = engine.query(
        "SELECT i, size, mtime FROM sorted WHERE sort IN ('gone', 'emptied', 'changed') AND kind = 'f' "  # noqa: S608 - words of this module
        f"ORDER BY sort = 'changed', {order} LIMIT {SHOWN}"
    ).to_pylist()
    paths = paths_at(relation, [row["i"] for row in chosen])
    return tuple(FormerFile(path=paths[row["i"]], size=row["size"], mtime_ns=row["mtime"]) for row in chosen)


def _began(side: Manifest) -> int:
    return to_ns(side.origin.started)


def _kept(engine: Engine, matched: Matched, signs: tuple[Sign, ...], folder: Path) -> Path:
    sorts = sorted({sort for sign in signs for sort in _OF_SIGN[sign]})
    file = folder / f"fallen-{uuid4().hex}.parquet"
    said = {"schema": FALLEN_SCHEMA_NAME, "before_ns": _began(matched.original), "after_ns": _began(matched.copy)}
    with RelationWriter(file, FALLEN, said) as writer:
        for batch in engine.stream(_ROWS, [sorts]):
            writer.add(pa.Table.from_batches([batch]))
    return file

"""What two rows of one path are to each other, decided by the engine.

Rows are joined on the 128-bit key of their path, made with the ledger's secret seed: only the same path has
the same key. Links are compared by target, folders by being there, files by size and time.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import timedelta
from typing import Any

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from coverage_audit.comparison.side import NUMBERS, Side
from coverage_audit.evidence.difference import Mode
from coverage_audit.evidence.engine import Engine
from coverage_audit.evidence.store.columns import integers, single

ABSENT = -1
"""Stands for "no such row" where a side has none."""

# $1, $2: last plausible mtime of the original, of the copy. $3: shift. $4: granularity. $5: held by size. $6: offset.
# Differences of times are HUGEINT: two hostile times can lie further apart than 64 bits.
_SQL = """
WITH pair AS (
    SELECT
        o.row AS o_row, c.row AS c_row, o.kind AS o_kind, c.kind AS c_kind,
        o.target IS NOT DISTINCT FROM c.target AS same_target,
        o.kind = ord('f') AND c.kind = ord('f') AND o.size = c.size AS same_size,
        o.mtime_ns NOT BETWEEN 0 AND $1 OR c.mtime_ns NOT BETWEEN 0 AND $2 AS odd,
        c.mtime_ns::HUGEINT - o.mtime_ns::HUGEINT AS later
    FROM o FULL JOIN c ON o.key_hi = c.key_hi AND o.key_lo = c.key_lo
),
timed AS (
    SELECT *,
        abs(later + $3::BIGINT) < $4::BIGINT AS same_time,
        $5::BOOLEAN AND NOT odd AND later + $6::BIGINT >= 0 AS written_after
    FROM pair
)
SELECT
    o_row, c_row,
    CASE
        WHEN c_row IS NULL THEN 'missing'
        WHEN o_row IS NULL THEN 'extra'
        WHEN o_kind <> c_kind THEN 'other'
        WHEN o_kind = ord('l') THEN if(same_target, NULL, 'other')
        WHEN o_kind <> ord('f') THEN NULL
        WHEN same_size AND (same_time OR written_after) THEN NULL
        WHEN odd OR same_time THEN 'other'
        WHEN later + $3::BIGINT < 0 THEN 'older'
        ELSE 'newer'
    END AS row_class,
    coalesce(same_size, false) AS same_size,
    if(same_size AND NOT odd, later::BIGINT, NULL) AS later_ns
FROM timed
"""


@dataclass(frozen=True, kw_only=True)
class Rules:
    """How times are compared, and the last plausible mtime on either side (ns)."""

    mode: Mode
    original_last_ns: int
    copy_last_ns: int


@dataclass(frozen=True, kw_only=True)
class Differing:
    """Pairs that differ: row numbers on either side (ABSENT: it has none) and the class, in no order."""

    original: Any
    copy: Any
    row_class: Any


@dataclass(frozen=True, kw_only=True)
class Paired:
    """What the engine said of the rows that it was given.

    `held` are the original's rows (numbers) that the copy holds. `sized` counts the pairs of files of equal size,
    `later_ns` says for those whose times are not odd by how much the copy's is later.
    """

    differing: Differing
    held: Any
    sized: int
    later_ns: Any


def pair_up(engine: Engine, sides: tuple[Side, Side], rules: Rules) -> Paired:
    """Pair the rows of the original's and the copy's side by path and say how each pair differs.

    Raises ComparisonError when memory or disk is short.
    """
    mode = rules.mode
    answer = engine.query(
        _SQL,
        [
            rules.original_last_ns,
            rules.copy_last_ns,
            mode.shift // timedelta(microseconds=1) * 1000,
            mode.granularity_ns,
            mode.by_size and mode.offset_ns is not None,
            mode.offset_ns or 0,
        ],
        {"o": _table(sides[0]), "c": _table(sides[1])},
    )
    differs = answer.filter(pc.is_valid(answer["row_class"]))
    later = answer["later_ns"].drop_null()
    return Paired(
        differing=Differing(
            original=_numbers(differs["o_row"]),
            copy=_numbers(differs["c_row"]),
            row_class=single(differs["row_class"]),
        ),
        held=_numbers(answer.filter(pc.is_null(answer["row_class"]))["o_row"]),
        sized=int(pc.sum(answer["same_size"], min_count=0).as_py()),
        later_ns=integers(later),
    )


def _table(side: Side) -> Any:
    columns = {name: getattr(side, name) for name in (*NUMBERS, "kind", "target")}
    return pa.table({"row": np.arange(len(side)), **columns})


def _numbers(column: Any) -> Any:
    return pc.fill_null(single(column), ABSENT).to_numpy(zero_copy_only=False)

"""What two rows of one path are to each other, decided by the engine.

Rows are joined on the 128-bit key of their path, made with the ledger's secret seed: only the same path has
the same key. Links are compared by target, folders by being there, files by digest where both sides have one, else by
size and time, as far as both sides show them.
"""

from __future__ import annotations

from collections.abc import Sequence
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
# $7, $8: sizes and times are compared. $9: where links lead is. $10, $11: the original's listing, the copy's lists all
# kinds. Differences of times are HUGEINT: two hostile times can lie further apart than 64 bits.
SQL = """
WITH pair AS (
    SELECT
        o.row AS o_row, c.row AS c_row, o.kind AS o_kind, c.kind AS c_kind, o.size AS o_size,
        o.target IS NOT DISTINCT FROM c.target OR NOT $9::BOOLEAN AS same_target,
        o.kind = ord('f') AND c.kind = ord('f') AS files,
        files AND (NOT $7::BOOLEAN OR o.size = c.size) AS same_size,
        if(files, o.digest = c.digest, NULL) AS same_digest,
        c.hollow > o.hollow AS hollow,
        o.mtime_ns NOT BETWEEN 0 AND $1 OR c.mtime_ns NOT BETWEEN 0 AND $2 AS odd,
        c.mtime_ns::HUGEINT - o.mtime_ns::HUGEINT AS later
    FROM o FULL JOIN c ON o.key_hi = c.key_hi AND o.key_lo = c.key_lo
),
timed AS (
    SELECT *,
        $8::BOOLEAN AND abs(later + $3::BIGINT) < $4::BIGINT AS same_time,
        $5::BOOLEAN AND NOT odd AND later + $6::BIGINT >= 0 AS written_after,
        CASE
            WHEN o_row IS NULL THEN NOT $10::BOOLEAN AND c_kind <> ord('f')
            WHEN c_row IS NULL THEN NOT $11::BOOLEAN AND o_kind <> ord('f')
            ELSE NOT $10::BOOLEAN AND o_kind = ord('f') AND c_kind IN (ord('l'), ord('o'))
                OR NOT $11::BOOLEAN AND c_kind = ord('f') AND o_kind IN (ord('l'), ord('o'))
        END AS unlisted
    FROM pair
),
classed AS (
    SELECT *,
        CASE
            WHEN unlisted THEN NULL
            WHEN c_row IS NULL THEN 'missing'
            WHEN o_row IS NULL THEN 'extra'
            WHEN o_kind <> c_kind THEN 'other'
            WHEN o_kind = ord('l') THEN if(same_target, NULL, 'other')
            WHEN o_kind <> ord('f') THEN NULL
            WHEN same_size AND same_digest THEN NULL
            WHEN same_size AND same_time AND NOT same_digest THEN 'content'
            WHEN same_size AND same_digest IS NULL AND (same_time OR written_after OR NOT $8)
                THEN if(hollow, 'hollow', NULL)
            WHEN odd OR same_time OR NOT $8 THEN 'other'
            WHEN later + $3::BIGINT < 0 THEN 'older'
            ELSE 'newer'
        END AS row_class
    FROM timed
)
SELECT
    o_row, c_row, row_class,
    coalesce($7 AND same_size, false) AS same_size,
    if($7 AND $8 AND same_size AND NOT odd, later::BIGINT, NULL) AS later_ns,
    coalesce(row_class IS NULL AND CASE
        WHEN unlisted THEN coalesce(o_kind, ord('d')) <> ord('d')
        WHEN o_kind = ord('l') THEN NOT $9
        ELSE files AND same_digest IS NULL AND NOT ($7 AND ($8 OR o_size = 0))
    END, false) AS unproven,
    coalesce(same_digest AND row_class IS NULL AND $8 AND NOT same_time, false) AS retimed
FROM classed
WHERE o_row IS NOT NULL OR row_class IS NOT NULL
"""


@dataclass(frozen=True, kw_only=True)
class Rules:
    """How times are compared, the last plausible mtime on either side (ns), and whether each side lists all kinds."""

    mode: Mode
    original_last_ns: int
    copy_last_ns: int
    kinds: tuple[bool, bool] = (True, True)


@dataclass(frozen=True, kw_only=True)
class Differing:
    """Pairs that differ: row numbers on either side (ABSENT: it has none) and the class, in no order."""

    original: Any
    copy: Any
    row_class: Any


@dataclass(frozen=True, kw_only=True)
class Paired:
    """What the engine said of the rows that it was given.

    `held` are the original's rows (numbers) that the copy holds; `unproven` are those of them of which neither time nor
    digest could be compared (of links: where they lead), or whose kind is not listed. `sized` counts the pairs of files
    of equal size, `later_ns` says for those whose times are not odd by how much the copy's is later. `retimed` counts
    what is held by digest under another time.
    """

    differing: Differing
    held: Any
    unproven: Any
    retimed: int
    sized: int
    later_ns: Any


def pair_up(engine: Engine, sides: tuple[Side, Side], rules: Rules) -> Paired:
    """Pair the rows of the original's and the copy's side by path and say how each pair differs.

    Raises ComparisonError when memory or disk is short.
    """
    answer = engine.query(SQL, parameters(rules), {"o": _table(sides[0]), "c": _table(sides[1])})
    differs = answer.filter(pc.is_valid(answer["row_class"]))
    later = answer["later_ns"].drop_null()
    return Paired(
        differing=Differing(
            original=_numbers(differs["o_row"]),
            copy=_numbers(differs["c_row"]),
            row_class=single(differs["row_class"]),
        ),
        held=_numbers(answer.filter(pc.is_null(answer["row_class"]))["o_row"]),
        unproven=_numbers(answer.filter(answer["unproven"])["o_row"]),
        retimed=int(pc.sum(answer["retimed"], min_count=0).as_py()),
        sized=int(pc.sum(answer["same_size"], min_count=0).as_py()),
        later_ns=integers(later),
    )


def parameters(rules: Rules) -> Sequence[object]:
    """Return what `SQL` is to be asked with."""
    mode = rules.mode
    return (
        rules.original_last_ns,
        rules.copy_last_ns,
        mode.shift // timedelta(microseconds=1) * 1000,
        mode.granularity_ns,
        mode.by_size and mode.offset_ns is not None,
        mode.offset_ns or 0,
        mode.sizes,
        mode.times,
        mode.targets,
        rules.kinds[0],
        rules.kinds[1],
    )


def _table(side: Side) -> Any:
    columns = {name: getattr(side, name) for name in (*NUMBERS, "kind", "target", "digest", "hollow")}
    return pa.table({"row": np.arange(len(side)), **columns})


def _numbers(column: Any) -> Any:
    return pc.fill_null(single(column), ABSENT).to_numpy(zero_copy_only=False)

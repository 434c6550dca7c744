"""Bringing two relations into the engine: what differs now, and what differed at the last comparison."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pyarrow as pa

from coverage_audit.comparison.kept import PairFacts
from coverage_audit.comparison.relation import read_relation
from coverage_audit.comparison.terms import Terms
from coverage_audit.comparison.types import Matched
from coverage_audit.errors import ComparisonError
from coverage_audit.evidence.engine import Engine

_SIDES = """
    o_kind entry_kind, o_size BIGINT, o_mtime BIGINT, o_ctime BIGINT, o_target BLOB,
    c_kind entry_kind, c_size BIGINT, c_mtime BIGINT, c_target BLOB"""
_TAKE_SIDES = """
    o_kind, o_size, within_reach(o_mtime_ns), within_reach(o_ctime_ns) - $1::BIGINT, o_target,
    c_kind, c_size, within_reach(c_mtime_ns) + $2::BIGINT, c_target"""

_LACK = f"""
CREATE TEMP TABLE lack (
    i BIGINT, key_hi UBIGINT, key_lo UBIGINT, class row_class, blind BOOLEAN, {_SIDES}, hashed BOOLEAN)
"""
_TAKE_LACK = f"""
INSERT INTO lack SELECT i, key_hi, key_lo, row_class, blind, {_TAKE_SIDES},
    coalesce(o_digest <> c_digest, false) FROM part
"""  # noqa: S608 - the fragments are this module's own
_BEFORE = f"""
CREATE TEMP TABLE before (
    i BIGINT, key_hi UBIGINT, key_lo UBIGINT, class row_class, verdict row_verdict, {_SIDES},
    earliest BIGINT, latest BIGINT, birth BIGINT, first_compared BIGINT, went_back BOOLEAN, held_until BIGINT,
    seen BOOLEAN)
"""
_TAKE_BEFORE = f"""
INSERT INTO before
SELECT
    i, key_hi, key_lo, row_class, verdict, {_TAKE_SIDES},
    earliest_ns, latest_ns, birth_ns, first_compared_ns, went_back, held_until_ns, seen
FROM part WHERE row_class <> 'extra'
"""  # noqa: S608 - the fragments are this module's own

_ONLY_WHAT_IS_KNOWN = """
DELETE FROM before WHERE verdict = 'unknown' AND EXISTS (
    FROM before b WHERE NOT b.seen AND b.key_hi = before.key_hi AND b.key_lo = before.key_lo)
"""


def load_differing(engine: Engine, matched: Matched, terms: Terms) -> None:
    """Fill the engine's table `lack` with all that differs now.

    Raises ComparisonError where the relation is not as long as the matching said: a cut one must not pass.
    """
    engine.execute(_LACK)
    rows = 0
    for part in numbered(matched.relation):
        engine.execute(_TAKE_LACK, [terms.original_offset or 0, terms.shift], {"part": part})
        rows += part.num_rows
    if rows != matched.rows:
        raise ComparisonError(f"{matched.relation} holds {rows} differing rows; {matched.rows} were found")


def load_before(engine: Engine, relation: Path | None, facts: PairFacts | None) -> None:
    """Fill the engine's table `before` with what differed at the last comparison, extra rows aside.

    Where the copy could not be seen then, what was known of the row before that goes before what was not seen.
    """
    engine.execute(_BEFORE)
    if relation is None or facts is None:
        return
    for part in numbered(relation):
        engine.execute(_TAKE_BEFORE, [0, facts.shift_ns], {"part": part})
    engine.execute(_ONLY_WHAT_IS_KNOWN)


def numbered(relation: Path) -> Iterator[Any]:
    """Yield a relation's rows without their paths, with their numbers as `i`. Raises ComparisonError as its reader."""
    begin = 0
    for part in read_relation(relation, batch=1 << 18):
        numbers = pa.array(np.arange(begin, begin + part.num_rows, dtype=np.int64))
        yield part.drop_columns(["path"]).append_column("i", numbers)
        begin += part.num_rows

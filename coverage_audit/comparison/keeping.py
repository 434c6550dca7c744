"""Writing the relation that is kept: the raw rows, each with its start and its verdict, and what is kept in mind."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import pyarrow as pa

from coverage_audit.comparison.blind import BlindPlaces
from coverage_audit.comparison.kept import KEPT, PairFacts, description
from coverage_audit.comparison.relation import RelationWriter, read_relation
from coverage_audit.errors import ComparisonError
from coverage_audit.evidence.engine import Engine
from coverage_audit.evidence.manifest import Manifest
from coverage_audit.evidence.order import tree_keys

_ROWS_AT_A_TIME = 1 << 17

_VALUES = """
SELECT
    l.i, j.i IS NOT NULL AS stays, coalesce(j.verdict, 'extra')::VARCHAR AS verdict,
    j.earliest AS earliest_ns, j.latest AS latest_ns, j.birth AS birth_ns, j.first_compared AS first_compared_ns,
    coalesce(j.went_back, false) AS went_back, j.held_until AS held_until_ns, true AS seen
FROM (SELECT i FROM lack) l LEFT JOIN judged j ON l.i = j.i ORDER BY l.i
"""


@dataclass(frozen=True, kw_only=True)
class Mind:
    """Rows of the last relation that this audit could not see, and so did not settle: their numbers there.

    `aside` are kept whatever their path; `unseen` only where the path lies below a blind place of the original.
    """

    relation: Path
    aside: Any
    unseen: Any
    original: Manifest


def write_kept(engine: Engine, raw: Path, file: Path, facts: PairFacts, mind: Mind | None) -> None:
    """Write the view `judged` as the relation that is kept. Raises ComparisonError when the disk is full."""
    with RelationWriter(file, KEPT, description(facts)) as writer:
        values = _Values(engine)
        for rows in read_relation(raw, batch=_ROWS_AT_A_TIME):
            beside = values.next(rows.num_rows)
            whole = rows.drop_columns(["blind"])
            for name in beside.column_names[2:]:
                whole = whole.append_column(name, beside[name])
            writer.add(whole.filter(beside["stays"]))
        for rows in _kept_in_mind(mind) if mind else ():
            writer.add(rows)


class _Values:
    """The engine's answer beside the raw relation's rows, both in the order of their numbers."""

    def __init__(self, engine: Engine) -> None:
        self._batches: Iterator[Any] = engine.stream(_VALUES)
        self._rest = pa.table({})
        self._begin = 0

    def next(self, count: int) -> Any:
        """Return the next `count` rows. Raises ComparisonError where the engine lost one."""
        parts = [self._rest] if self._rest.num_rows else []
        have = self._rest.num_rows
        while have < count and (batch := next(self._batches, None)) is not None:
            parts.append(pa.Table.from_batches([batch]))
            have += batch.num_rows
        whole = pa.concat_tables(parts) if parts else self._rest
        if whole.num_rows < count or whole["i"][0].as_py() != self._begin:
            raise ComparisonError("the judged rows are not those that differ: nothing was written")
        self._rest, self._begin = whole.slice(count), self._begin + count
        return whole.slice(0, count)


def _kept_in_mind(mind: Mind) -> Iterator[Any]:
    places = BlindPlaces(mind.original)
    begin = 0
    for rows in read_relation(mind.relation, batch=_ROWS_AT_A_TIME):
        numbers = np.arange(begin, begin + rows.num_rows)
        chosen = np.isin(numbers, mind.unseen)
        if chosen.any():
            chosen &= _covered(places, rows["path"].combine_chunks())
        chosen |= np.isin(numbers, mind.aside)
        begin += rows.num_rows
        if chosen.any():
            kept = rows.filter(pa.array(chosen))
            seen = kept.schema.get_field_index("seen")
            yield kept.set_column(seen, "seen", pa.array(np.zeros(kept.num_rows, dtype=bool)))


def _covered(places: BlindPlaces, paths: Any) -> Any:
    """Which paths lie below blind places: those kept in mind stand at a relation's end, out of order."""
    whole = paths.chunk(0) if isinstance(paths, pa.ChunkedArray) else paths
    keys = tree_keys(whole)
    order = np.asarray(pa.compute.array_sort_indices(keys))
    covered = np.zeros(len(keys), dtype=bool)
    covered[order] = places.cover(keys.take(pa.array(order)))
    return covered

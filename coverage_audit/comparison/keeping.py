"""Writing the relation that is kept: the raw rows, each with its start and its verdict, and what is kept in mind."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from coverage_audit.comparison.blind import BlindPlaces
from coverage_audit.comparison.kept import KEPT, PairFacts, description
from coverage_audit.comparison.relation import RelationWriter, read_relation
from coverage_audit.comparison.terms import ask
from coverage_audit.errors import ComparisonError
from coverage_audit.evidence.engine import Engine
from coverage_audit.evidence.manifest import Manifest
from coverage_audit.evidence.order import tree_keys

_ROWS_AT_A_TIME = 1 << 17

_VALUES = """
SELECT
    i, verdict::VARCHAR AS verdict, earliest AS earliest_ns, latest AS latest_ns, birth AS birth_ns,
    first_compared AS first_compared_ns, coalesce(went_back, false) AS went_back, held_until AS held_until_ns,
    true AS seen
FROM judged WHERE i >= ? AND i < ? ORDER BY i
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
    """Write the view `judged` as the relation that is kept.

    Raises ComparisonError when the disk is full, and where a row that differs was lost on the way.
    """
    begin = judged = 0
    with RelationWriter(file, KEPT, description(facts)) as writer:
        for rows in read_relation(raw, batch=_ROWS_AT_A_TIME):
            beside = engine.query(_VALUES, [begin, begin + rows.num_rows])
            whole = rows.drop_columns(["blind"]).take(pc.subtract(beside["i"], begin))
            for name in beside.column_names[1:]:
                whole = whole.append_column(name, beside[name])
            writer.add(whole)
            begin, judged = begin + rows.num_rows, judged + whole.num_rows
        if judged + ask(engine, "SELECT count(*) FROM raced") != begin:
            raise ComparisonError("The judged rows are not those that differ: nothing was kept.")
        for rows in _kept_in_mind(mind) if mind else ():
            writer.add(rows)


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
    order = np.asarray(pc.array_sort_indices(keys))
    covered = np.zeros(len(keys), dtype=bool)
    covered[order] = places.cover(keys.take(pa.array(order)))
    return covered

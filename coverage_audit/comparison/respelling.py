"""Writing the relation anew where names are spelled otherwise: what is held leaves it, what is left is said plainly."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any
from uuid import uuid4

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from coverage_audit.comparison.classify import Rules
from coverage_audit.comparison.folded import KNOWN, Respelled
from coverage_audit.comparison.picking import paths_at
from coverage_audit.comparison.relation import RAW, RAW_SCHEMA_NAME, RelationWriter, read_relation
from coverage_audit.comparison.side import FILE
from coverage_audit.comparison.totals import Differences, tally
from coverage_audit.evidence.difference import Seen, Sight, Tally
from coverage_audit.evidence.store.columns import integers, octets_of


def written_anew(relation: Path, pairs: Respelled, differences: Differences) -> tuple[Path, int]:
    """Write the rows that still differ into a new relation and remove the old one; return it and how many they are.

    `differences` counts them. Raises ComparisonError when the disk is full.
    """
    file = relation.with_name(f"differences-{uuid4().hex}.parquet")
    with RelationWriter(file, RAW, {"schema": RAW_SCHEMA_NAME}) as writer:
        for rows in _still_differing(relation, pairs):
            differences.add(rows)
            writer.add(rows)
    relation.unlink()
    return file, writer.rows


def _still_differing(relation: Path, pairs: Respelled) -> Iterator[Any]:
    begin = 0
    for rows in read_relation(relation, batch=1 << 17):
        numbers = np.arange(begin, begin + len(rows))
        begin += len(rows)
        if np.isin(numbers, pairs.original).any() or np.isin(numbers, pairs.copy).any():
            yield _changed(rows, numbers, pairs)
        else:
            yield rows


def _changed(rows: Any, numbers: Any, pairs: Respelled) -> Any:
    """Take rows that met another one out, and leave of the others what did not meet."""
    missing = pc.equal(rows["row_class"], "missing").to_numpy(zero_copy_only=False)
    extra = pc.equal(rows["row_class"], "extra").to_numpy(zero_copy_only=False)
    mine, other = np.isin(numbers, pairs.original), np.isin(numbers, pairs.copy)
    differing = np.isin(numbers, pairs.original[~pairs.held])
    values = {name: rows[name] for name in RAW.names}
    _leave(values, "extra", "o", mine & ~other & ~missing)
    _leave(values, "missing", "c", other & ~mine & ~extra)
    if differing.any():
        _meet(values, numbers, differing, pairs)
    dropped = (mine & other) | (mine & missing & ~differing) | (other & extra)
    return pa.table(values).filter(pa.array(~dropped))


def _leave(values: dict[str, Any], row_class: str, gone: str, chosen: Any) -> None:
    """Make rows such of one side alone."""
    mask = pa.array(chosen)
    values["row_class"] = pc.if_else(mask, row_class, values["row_class"])
    for name in KNOWN:
        column = values[f"{gone}_{name}"]
        values[f"{gone}_{name}"] = pc.if_else(mask, pa.scalar(None, column.type), column)


def _meet(values: dict[str, Any], numbers: Any, chosen: Any, pairs: Respelled) -> None:
    """Put the copy's values beside the original's where they differ."""
    mask = pa.array(chosen)
    at = pa.array(np.minimum(np.searchsorted(pairs.original, numbers), len(pairs.original) - 1), mask=~chosen)
    values["row_class"] = pc.if_else(mask, pairs.row_class.take(at), values["row_class"])
    for name in KNOWN:
        there = pairs.facts[f"c_{name}"].take(at)
        values[f"c_{name}"] = pc.if_else(mask, there, values[f"c_{name}"])


def other_spelling(relation: Path, pairs: Respelled) -> tuple[Seen, ...]:
    """Say how many files are held under another spelling, and one of them."""
    held = np.flatnonzero(pairs.files_held)
    if not len(held):
        return ()
    mine, other = int(pairs.original[held[0]]), int(pairs.copy[held[0]])
    paths = paths_at(relation, [mine, other])
    return (Seen(sight=Sight.OTHER_SPELLING, entries=len(held), example=paths[mine], beside=paths[other]),)


def unproven_of(pairs: Respelled) -> Tally:
    """Return what of it is held without its content being shown."""
    kinds = np.frombuffer(octets_of(pairs.facts["o_kind"]), np.uint8)
    return tally(kinds[pairs.unproven], integers(pairs.facts["o_size"])[pairs.unproven])


def newest_of(pairs: Respelled, rules: Rules) -> tuple[int | None, int | None]:
    """Return the newest mtime of what is held, and the newest instant at which such a file was surely not older."""
    mtimes = integers(pairs.facts["o_mtime_ns"])
    arrivals = integers(pc.coalesce(pairs.facts["o_ctime_ns"], pairs.facts["o_mtime_ns"]))
    kinds = np.frombuffer(octets_of(pairs.facts["o_kind"]), np.uint8)
    chosen = pairs.held & (kinds == FILE) & (mtimes >= 0) & (mtimes <= rules.original_last_ns)
    if not chosen.any():
        return None, None
    return int(mtimes[chosen].max()), int(np.minimum(mtimes, arrivals)[chosen].max())

"""Rows of a listing that a copy lacks by declaration: all of them, or those that only its own patterns leave out."""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Mapping, Sequence
from itertools import accumulate
from typing import Any

import numpy as np
import pyarrow as pa

from coverage_audit.comparison.leaving_out import KEPT, LeavingOut
from coverage_audit.evidence.engine import Engine
from coverage_audit.evidence.manifest import Manifest
from coverage_audit.evidence.store import RowReader
from coverage_audit.evidence.store.columns import octets_of, single

_GROUPS_AT_A_TIME = 32
_COLUMNS = ("key_hi", "key_lo", "path", "kind", "size", "mtime_ns")

_TAKE = """
INSERT INTO lacked
SELECT
    key_hi, key_lo, number, false, 'missing', 'between', kind, size, within_reach(mtime_ns), NULL, NULL, NULL
FROM part
"""


def load_listed(engine: Engine, original: Manifest, no_loss: LeavingOut, by_copy: LeavingOut | None) -> None:
    """Add rows of the original to the engine's table `lacked`, but for those that the dataset leaves out.

    `by_copy`: only those that these patterns leave out; None: all. Raises EvidenceError if it cannot be read.
    """
    begin = 0
    with RowReader(original.file) as reader:
        numbers = range(len(reader.groups))
        for first in range(0, len(numbers), _GROUPS_AT_A_TIME):
            rows = reader.read(numbers[first : first + _GROUPS_AT_A_TIME], _COLUMNS)
            chosen = ~_left_out(no_loss, rows)
            if by_copy is not None:
                chosen &= _left_out(by_copy, rows)
            places = np.flatnonzero(chosen)
            part = rows.drop_columns(["path"]).take(pa.array(places)).append_column("number", pa.array(places + begin))
            engine.execute(_TAKE, tables={"part": part})
            begin += rows.num_rows


def paths_listed(original: Manifest, numbers: Sequence[int]) -> Mapping[int, bytes]:
    """Return the paths of a few rows of a listing by their numbers."""
    picked: dict[int, bytes] = {}
    with RowReader(original.file) as reader:
        begins = [0, *accumulate(group.rows for group in reader.groups)]
        for number in numbers:
            group = bisect_right(begins, number) - 1
            picked[number] = reader.read([group], ["path"])["path"][number - begins[group]].as_py()
    return picked


def _left_out(patterns: LeavingOut, rows: Any) -> Any:
    if not patterns:
        return np.zeros(rows.num_rows, dtype=bool)
    kinds = np.frombuffer(octets_of(rows["kind"]), np.uint8)
    return patterns.which_of(single(rows["path"]), kinds) != KEPT

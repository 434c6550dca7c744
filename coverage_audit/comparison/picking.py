"""Picking the paths of a few rows out of a relation, by their numbers."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path

import numpy as np

from coverage_audit.comparison.relation import read_relation


def paths_at(relation: Path, numbers: Sequence[int]) -> Mapping[int, bytes]:
    """Return the paths of these rows of a relation. Raises ComparisonError if it cannot be read."""
    wanted = np.sort(np.asarray(numbers, dtype=np.int64))
    picked: dict[int, bytes] = {}
    begin = 0
    if not len(wanted):
        return picked
    for table in read_relation(relation, ["path"], batch=1 << 18):
        end = begin + table.num_rows
        here = wanted[np.searchsorted(wanted, begin) : np.searchsorted(wanted, end)]
        picked.update(zip(here.tolist(), table["path"].take(here - begin).to_pylist(), strict=True))
        begin = end
        if begin > wanted[-1]:
            break
    return picked

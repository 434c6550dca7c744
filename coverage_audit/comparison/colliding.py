"""Names that are missing because the copy holds another that differs from them in spelling alone."""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path
from typing import Final

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from coverage_audit.comparison.relation import read_relation
from coverage_audit.comparison.spelling import folded
from coverage_audit.evidence.difference import Seen, Sight
from coverage_audit.evidence.order import tree_key
from coverage_audit.evidence.store import RowReader
from coverage_audit.evidence.store.columns import single

MOST_MISSING: Final = 10_000
MOST_GROUPS: Final = 64
"""So many groups of the copy's listing are looked through for siblings: a night with many new folders is not slowed."""


def colliding(relation: Path, copy: Path) -> tuple[Seen, ...]:
    """Return how many missing files have a sibling in the copy whose name differs in spelling alone, and one of them.

    Looked for among at most 10,000 missing rows. Raises ComparisonError and EvidenceError where a file cannot be read.
    """
    missing = _missing(relation)
    if not missing:
        return ()
    forms = folded(pa.array(missing, pa.binary()))
    sought = {form: path for form, path in zip(forms.to_pylist(), missing, strict=True) if form is not None}
    there = dict(_there(copy, sorted({path.rpartition(b"/")[0] for path in missing}), sought))
    pairs = [(path, there[form]) for form, path in zip(forms.to_pylist(), missing, strict=True) if form in there]
    if not pairs:
        return ()
    example, beside = pairs[0]
    return (Seen(sight=Sight.COLLIDING, entries=len(pairs), example=example, beside=beside),)


def _missing(relation: Path) -> Sequence[bytes]:
    found: list[bytes] = []
    for rows in read_relation(relation, ["path", "row_class", "blind", "o_kind"]):
        chosen = pc.and_(pc.equal(rows["row_class"], "missing"), pc.not_equal(rows["o_kind"], "d"))
        found += rows["path"].filter(pc.and_not(chosen, rows["blind"])).to_pylist()
        if len(found) > MOST_MISSING:
            return ()
    return found


def _there(copy: Path, folders: Sequence[bytes], sought: Mapping[str, bytes]) -> Iterator[tuple[str, bytes]]:
    with RowReader(copy) as reader:
        firsts = [tree_key(group.first) for group in reader.groups]
        forms = pa.array(list(sought), pa.string())
        for number in _groups(firsts, folders):
            paths = single(reader.read([number], ["path"])["path"])
            spelled = folded(paths)
            for place in np.flatnonzero(pc.is_in(spelled, value_set=forms).to_numpy(zero_copy_only=False)).tolist():
                yield spelled[place].as_py(), paths[place].as_py()


def _groups(firsts: Sequence[bytes], folders: Sequence[bytes]) -> Sequence[int]:
    """Return the groups that hold what lies in these folders; only so many, the first ones."""
    chosen: set[int] = set()
    for folder in folders:
        low = tree_key(folder) + b"\0" if folder else b""
        high = tree_key(folder) + b"\x01" if folder else None
        begin = max(0, bisect_right(firsts, low) - 1)
        end = len(firsts) if high is None else bisect_left(firsts, high)
        chosen.update(range(begin, min(end, begin + MOST_GROUPS)))
        if len(chosen) > MOST_GROUPS:
            break
    return sorted(chosen)[:MOST_GROUPS]

"""Names that are missing because the copy holds another that differs from them in spelling alone."""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Iterator, Sequence
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


def colliding(relation: Path, copy: Path) -> Iterator[Seen]:
    """Say how many missing files have a sibling in the copy whose name differs in spelling alone, and one of them.

    Looked for among the first 10,000 missing rows and 64 groups; how many are not looked for is said, too. Raises
    ComparisonError and EvidenceError where a file cannot be read.
    """
    missing, beyond = _missing(relation)
    if not missing:
        return
    forms = folded(pa.array(missing, pa.binary()))
    spelled = dict(zip(missing, forms.to_pylist(), strict=True))
    with RowReader(copy) as reader:
        groups, folders = _groups(
            [tree_key(group.first) for group in reader.groups], sorted(set(map(_folder, missing)))
        )
        there = dict(_there(reader, groups, [form for form in spelled.values() if form is not None]))
    pairs = [(path, there[form]) for path, form in spelled.items() if form in there]
    if pairs:
        example, beside = pairs[0]
        yield Seen(sight=Sight.COLLIDING, entries=len(pairs), example=example, beside=beside)
    unsought = beyond + sum(_folder(path) not in folders for path in missing)
    if unsought:
        yield Seen(sight=Sight.UNSOUGHT, entries=unsought)


def _folder(path: bytes) -> bytes:
    return path.rpartition(b"/")[0]


def _missing(relation: Path) -> tuple[Sequence[bytes], int]:
    """Return the first missing files, and how many there are beyond these."""
    found: list[bytes] = []
    count = 0
    for rows in read_relation(relation, ["path", "row_class", "blind", "o_kind"]):
        chosen = pc.and_(pc.equal(rows["row_class"], "missing"), pc.not_equal(rows["o_kind"], "d"))
        paths = rows["path"].filter(pc.and_not(chosen, rows["blind"]))
        found += paths.slice(0, MOST_MISSING - len(found)).to_pylist()
        count += len(paths)
    return found, count - len(found)


def _there(reader: RowReader, groups: Sequence[int], sought: Sequence[str]) -> Iterator[tuple[str, bytes]]:
    forms = pa.array(sought, pa.string())
    for number in groups:
        paths = single(reader.read([number], ["path"])["path"])
        spelled = folded(paths)
        for place in np.flatnonzero(pc.is_in(spelled, value_set=forms).to_numpy(zero_copy_only=False)).tolist():
            yield spelled[place].as_py(), paths[place].as_py()


def _groups(firsts: Sequence[bytes], folders: Sequence[bytes]) -> tuple[Sequence[int], frozenset[bytes]]:
    """Return the groups that hold what lies in these folders, only so many, and the folders that they hold whole."""
    chosen: set[int] = set()
    whole: set[bytes] = set()
    for folder in folders:
        low = tree_key(folder) + b"\0" if folder else b""
        high = tree_key(folder) + b"\x01" if folder else None
        begin = max(0, bisect_right(firsts, low) - 1)
        end = len(firsts) if high is None else bisect_left(firsts, high)
        wanted = chosen.union(range(begin, end))
        if len(wanted) <= MOST_GROUPS:
            chosen, whole = wanted, whole | {folder}
    return sorted(chosen), frozenset(whole)

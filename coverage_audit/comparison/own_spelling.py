"""Where a copy holds files whose names it spells otherwise: by their folded paths and their sizes.

A comparison says that such files are held, not where. Whoever reads them must ask for the copy's own spelling.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any, Final

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from coverage_audit.comparison.side import FILE, Limits, Tree
from coverage_audit.comparison.spelling import folded
from coverage_audit.errors import ComparisonError
from coverage_audit.evidence.store.columns import single

NOWHERE: Final = -1

_GROUPS: Final = 16
_AMBIGUOUS: Final = -2


def batches(tree: Tree) -> Iterator[range]:
    """Yield the numbers of a tree's groups, so many as are read at once."""
    for first in range(0, len(tree.groups), _GROUPS):
        yield range(first, min(first + _GROUPS, len(tree.groups)))


def places_otherwise(mine: Tree, other: Tree, paths: Any, sizes: Any) -> Any:
    """Return the number of each file's row in the copy, NOWHERE where not one file alone can be it.

    `paths` and `sizes` are of files of the original that are held, and not under their own path. What bears the path
    of another file of the original is not taken for one of them.
    """
    there = np.full(len(paths), NOWHERE, dtype=np.int64)
    if not len(paths):
        return there
    wanted = folded(paths)
    found = [each for groups in batches(other) for each in _alike(other, groups, wanted.drop_null())]
    known = _keys(mine, {key for _, _, _, key in found})
    by_form: dict[tuple[str, int], int] = {}
    for form, size, place, key in found:
        if key not in known:
            by_form[form, size] = _AMBIGUOUS if (form, size) in by_form else place
    for row, (form, size) in enumerate(zip(wanted.to_pylist(), sizes.tolist(), strict=True)):
        there[row] = max(NOWHERE, by_form.get((form, size), NOWHERE))
    return there


def require_one_name(first: bytes, second: bytes) -> None:
    """Raise ComparisonError unless two paths are one, or two spellings of one."""
    if first != second and len(set(folded(pa.array([first, second])).to_pylist())) > 1:
        raise ComparisonError(
            "Files that were drawn have other names in the copy: its listing is not the one compared."
        )


def _alike(tree: Tree, groups: range, forms: Any) -> Iterator[tuple[str, int, int, int]]:
    """Yield the folded path, size, number and key of the files whose folded paths are among `forms`."""
    side, more = tree.read(groups, Limits(), ("path",))
    own = folded(single(more["path"]))
    chosen = pc.is_in(own, value_set=forms, skip_nulls=True).to_numpy(zero_copy_only=False) & (side.kind == FILE)
    keys = (side.key_hi ^ side.key_lo)[chosen].tolist()
    sizes, places = side.size[chosen].tolist(), side.place[chosen].tolist()
    yield from zip(own.filter(pa.array(chosen)).to_pylist(), sizes, places, keys, strict=True)


def _keys(tree: Tree, keys: set[int]) -> set[int]:
    """Return those of these keys that a tree has."""
    wanted = np.array(sorted(keys), dtype=np.uint64)
    met: set[int] = set()
    for groups in batches(tree) if keys else ():
        side, _ = tree.read(groups, Limits())
        own = side.key_hi ^ side.key_lo
        met |= set(own[np.isin(own, wanted)].tolist())
    return met

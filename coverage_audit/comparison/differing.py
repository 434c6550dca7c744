"""Rows that differ, filled up: what the pairing left out is read now, for these rows only, and put in tree order."""

from __future__ import annotations

from collections.abc import Collection
from concurrent.futures import Executor
from typing import Any

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from coverage_audit.comparison.blind import BlindPlaces
from coverage_audit.comparison.classify import ABSENT, Differing
from coverage_audit.comparison.reading import Trees
from coverage_audit.comparison.relation import RAW
from coverage_audit.comparison.side import NUMBERS, Side, Tree
from coverage_audit.evidence.manifest import Manifest
from coverage_audit.evidence.order import rises, tree_keys
from coverage_audit.evidence.store.columns import single

_LETTERS = pa.array(["d", "f", "l", "o"])
_KNOWN = ("kind", "size", "mtime_ns", "target", "digest")
_LACKING = {"size": "size", "mtime": "mtime_ns"}


class FillUp:
    """Turns pairs into rows of the raw relation. The trees are its own, each for one of its threads."""

    def __init__(self, trees: Trees, manifests: tuple[Manifest, Manifest]) -> None:
        self._trees = trees
        self._blind_original, self._blind_copy = (BlindPlaces(side) for side in manifests)
        self._lacks = tuple(side.origin.lacks for side in manifests)

    def rows(self, sides: tuple[Side, Side], differing: Differing, aside: Executor) -> Any:
        """Return the relation's rows for these pairs, in tree order; half of the reading is done `aside`.

        A row that only the copy has is dropped where the original was not looked into: it may be no extra at all.
        """
        if not len(differing.original):
            return RAW.empty_table()
        ordered = _roughly_in_order(differing)
        own = np.where(ordered.original == ABSENT, ordered.copy, ABSENT)
        other = aside.submit(_late, self._trees[1], sides[1], ordered.copy, own)
        ctimes, paths = _late(self._trees[0], sides[0], ordered.original, ordered.original)
        copy_ctimes, own_paths = other.result()
        original = _values(sides[0], ordered.original, self._lacks[0])
        copy = _values(sides[1], ordered.copy, self._lacks[1])
        columns = {
            **{name: pc.coalesce(original[name], copy[name]) for name in ("key_hi", "key_lo")},
            "path": pc.coalesce(paths, own_paths),
            "row_class": ordered.row_class,
            **{f"o_{name}": original[name] for name in _KNOWN},
            **{f"c_{name}": copy[name] for name in _KNOWN},
            "o_ctime_ns": ctimes,
            "c_ctime_ns": copy_ctimes,
        }
        return self._judged_by_sight(pa.table(columns))

    def _judged_by_sight(self, rows: Any) -> Any:
        keys = tree_keys(single(rows["path"]))
        if not rises(keys):
            order = pc.sort_indices(keys)
            rows, keys = rows.take(order), keys.take(order)
        missing = pc.equal(rows["row_class"], "missing").to_numpy()
        blind = missing & self._blind_copy.cover(keys)
        rows = rows.append_column("blind", pa.array(blind)).select(RAW.names)
        if not self._blind_original:
            return rows
        extra = pc.equal(rows["row_class"], "extra").to_numpy()
        return rows.filter(pa.array(~(extra & self._blind_original.cover(keys))))


def _roughly_in_order(differing: Differing) -> Differing:
    """Put the original's rows in order, and the copy's own behind them."""
    alone = differing.original == ABSENT
    order = np.lexsort((differing.copy, differing.original, alone))
    return Differing(
        original=differing.original[order],
        copy=differing.copy[order],
        row_class=differing.row_class.take(pa.array(order)),
    )


def _values(side: Side, rows: Any, lacks: Collection[str]) -> dict[str, Any]:
    """Return what is known of the side's rows (numbers), null where a row is ABSENT and for what the listing lacks."""
    known = side.only(rows[rows != ABSENT])
    letters = np.searchsorted([ord(letter) for letter in _LETTERS.to_pylist()], known.kind)
    values = {name: pa.array(getattr(known, name)) for name in NUMBERS}
    values |= {name: pa.nulls(len(known), pa.int64()) for word, name in _LACKING.items() if word in lacks}
    values |= {"kind": _LETTERS.take(pa.array(letters)), "target": known.target, "digest": known.digest}
    return {name: _spread(column, rows) for name, column in values.items()}


def _late(tree: Tree, side: Side, rows: Any, named: Any) -> tuple[Any, Any]:
    """Read the ctimes of `rows` and the paths of `named` (numbers; ABSENT gives null)."""
    ctimes = tree.late(side.place[rows[rows != ABSENT]], "ctime_ns")
    paths = tree.late(side.place[named[named != ABSENT]], "path")
    return _spread(ctimes, rows), _spread(paths, named)


def _spread(values: Any, rows: Any) -> Any:
    """Put values, one for each row that is there, at their rows; null where a row is ABSENT."""
    there = rows != ABSENT
    return values.take(pa.array(np.cumsum(there) - 1, mask=~there))

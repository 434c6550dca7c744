"""Rows that differ, filled up: what the pairing left out is read now, for these rows only, and put in tree order."""

from __future__ import annotations

from typing import Any

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from coverage_audit.comparison.blind import BlindPlaces
from coverage_audit.comparison.classify import ABSENT, Differing
from coverage_audit.comparison.relation import RAW
from coverage_audit.comparison.side import NUMBERS, Side, read_more
from coverage_audit.evidence.order import rises, tree_keys
from coverage_audit.evidence.store import RowReader
from coverage_audit.evidence.store.columns import single

_LETTERS = pa.array(["d", "f", "l", "o"])


class FillUp:
    """Turns pairs into rows of the raw relation, with readers and blind places of its own."""

    def __init__(self, readers: tuple[RowReader, RowReader], blind: tuple[BlindPlaces, BlindPlaces]) -> None:
        self._readers = readers
        self._blind_original, self._blind_copy = blind

    def rows(self, sides: tuple[Side, Side], differing: Differing) -> Any:
        """Return the relation's rows for one window's pairs, in tree order.

        A row that only the copy has is dropped where the original was not looked into: it may be no extra at all.
        """
        if not len(differing.original):
            return RAW.empty_table()
        ordered = _roughly_in_order(differing)
        alone = ordered.original == ABSENT
        original = _values(sides[0], ordered.original)
        copy = _values(sides[1], ordered.copy)
        ctimes, paths = _late(self._readers[0], sides[0], ordered.original, ordered.original)
        copy_ctimes, own_paths = _late(self._readers[1], sides[1], ordered.copy, np.where(alone, ordered.copy, ABSENT))
        columns = {
            **{name: pc.coalesce(original[name], copy[name]) for name in ("key_hi", "key_lo")},
            "path": pc.coalesce(paths, own_paths),
            "row_class": ordered.row_class,
            **{f"o_{name}": original[name] for name in ("kind", "size", "mtime_ns", "target")},
            **{f"c_{name}": copy[name] for name in ("kind", "size", "mtime_ns", "target")},
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


def _values(side: Side, rows: Any) -> dict[str, Any]:
    """Return what the side knows of its rows, null where a row is ABSENT."""
    present = rows[rows != ABSENT]
    letters = np.searchsorted([ord(letter) for letter in _LETTERS.to_pylist()], side.kind[present])
    known = {name: pa.array(getattr(side, name)[present]) for name in NUMBERS}
    known |= {"kind": _LETTERS.take(pa.array(letters)), "target": side.targets(present)}
    return {name: _spread(values, rows) for name, values in known.items()}


def _late(reader: RowReader, side: Side, rows: Any, named: Any) -> tuple[Any, Any]:
    """Read the ctimes of `rows` and the paths of `named` (ABSENT left null), from the groups that hold them only."""
    return tuple(
        _spread(single(read_more(reader, side, wanted[wanted != ABSENT], [column])[column]), wanted)
        for column, wanted in (("ctime_ns", rows), ("path", named))
    )


def _spread(values: Any, rows: Any) -> Any:
    """Put values, one for each row that is there, at their rows; null where a row is ABSENT."""
    there = rows != ABSENT
    return values.take(pa.array(np.cumsum(there) - 1, mask=~there))

"""Rows on their way into a file: straight on while they come in tree order, by way of the sorter once they do not."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pyarrow as pa

from coverage_audit.errors import EvidenceError
from coverage_audit.evidence.manifest import Blind, Census, Origin
from coverage_audit.evidence.order import are_paths, rises, tree_keys
from coverage_audit.evidence.store.part import Part
from coverage_audit.evidence.store.sorting import Sorter


class Intake:
    """Takes tables of BATCH_SCHEMA. Raises EvidenceError for what is no listing, OSError where the disk fails."""

    def __init__(self, file: Path, seed: bytes, memory_limit: int, odd_after_ns: int) -> None:
        self._file = file
        self._seed = seed
        self._memory_limit = memory_limit
        self._odd_after_ns = odd_after_ns
        self._last_key = b""
        self._sorter: Sorter | None = None
        self._part = self._open_part()

    def take(self, rows: Any) -> None:
        """Take rows (at least one)."""
        whole = rows.combine_chunks()
        paths = whole["path"].chunk(0)
        keys = tree_keys(paths)
        if not are_paths(paths, keys):
            raise EvidenceError("The listing holds an entry that is no path below its root.")
        if self._sorter is None and not self._continues(keys):
            self._begin_to_sort()
        if self._sorter is None:
            self._part.write(whole)
        else:
            self._sorter.put(whole)

    def complete(self, origin: Origin, blind: tuple[Blind, ...]) -> Census:
        """Write what was put by, and bring the file to its end under its name."""
        if self._sorter is not None:
            self._write_sorted(self._sorter)
        return self._part.complete(origin, blind)

    def discard(self) -> None:
        """Leave nothing that is not finished."""
        self._part.discard()
        if self._sorter is not None:
            self._sorter.discard()

    def _open_part(self) -> Part:
        return Part(self._file, self._seed, self._memory_limit, self._odd_after_ns)

    def _continues(self, keys: Any) -> bool:
        if keys[0].as_py() <= self._last_key or not rises(keys):
            return False
        self._last_key = keys[len(keys) - 1].as_py()
        return True

    def _begin_to_sort(self) -> None:
        self._sorter = Sorter(self._file, self._memory_limit)
        for batch in self._part.give_back():
            self._sorter.put(pa.Table.from_batches([batch]))

    def _write_sorted(self, sorter: Sorter) -> None:
        self._part = self._open_part()
        self._last_key = b""
        for piece in sorter.in_order():
            rows = piece.combine_chunks()
            if not self._continues(tree_keys(rows["path"].chunk(0))):
                raise EvidenceError("A path was listed twice: the listing cannot be trusted.")
            self._part.write(rows)
        sorter.discard()

"""Writing a manifest: whole, under its final name only when every byte of it is on disk."""

from __future__ import annotations

import errno
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from datetime import datetime
from pathlib import Path
from typing import Any

import pyarrow as pa

from coverage_audit.errors import ComparisonError, EvidenceError
from coverage_audit.evidence.instants import odd_after
from coverage_audit.evidence.manifest import Blind, CompleteManifest, Manifest, Origin, PartialManifest
from coverage_audit.evidence.order import are_paths, rises, tree_keys
from coverage_audit.evidence.store.layout import BATCH_SCHEMA
from coverage_audit.evidence.store.part import Part
from coverage_audit.evidence.store.sorting import Sorter

_GATHERED_ROWS = 65536


class ManifestWriter:
    """Takes rows in batches; `finish` makes a manifest of them, `abandon` leaves nothing.

    `started` is when the listing began (mtimes later than a day after it are odd). Rows may come in any order; in
    tree order they are written as they come, else they are put by and sorted under `memory_limit` bytes.
    Raises EvidenceError for a path that comes twice, rows that are none, and a disk that is full.
    """

    def __init__(self, file: Path, seed: bytes, memory_limit: int, *, started: datetime) -> None:
        self._file = file
        self._memory_limit = memory_limit
        self._seed = seed
        self._odd_after_ns = odd_after(started)
        self._gathered: list[Any] = []
        self._last_key = b""
        self._sorter: Sorter | None = None
        with self._storing():
            self._part = self._open_part()

    def add(self, batch: Any) -> None:
        """Take a record batch of BATCH_SCHEMA."""
        if batch.schema != BATCH_SCHEMA:
            raise EvidenceError(f"Rows of another shape were handed in: {batch.schema}")
        self._gathered.append(batch)
        if sum(len(one) for one in self._gathered) >= _GATHERED_ROWS:
            with self._storing():
                self._take_gathered()

    def finish(self, origin: Origin, blind: Sequence[Blind]) -> Manifest:
        """Write what is left, make it last, give it its name and return the manifest."""
        with self._storing():
            self._take_gathered()
            if self._sorter is not None:
                self._write_sorted(self._sorter)
            places = tuple(sorted(blind, key=lambda place: place.path))
            census = self._part.complete(origin, places)
        if places:
            return PartialManifest(file=self._file, origin=origin, census=census, blind=places)
        return CompleteManifest(file=self._file, origin=origin, census=census)

    def abandon(self) -> None:
        """Leave no file behind. Harmless after `finish`."""
        self._part.discard()
        if self._sorter is not None:
            self._sorter.discard()

    def _open_part(self) -> Part:
        return Part(self._file, self._seed, self._memory_limit, self._odd_after_ns)

    def _take_gathered(self) -> None:
        if not self._gathered:
            return
        rows = pa.Table.from_batches(self._gathered).combine_chunks()
        self._gathered = []
        if not len(rows):
            return
        paths = rows["path"].chunk(0)
        keys = tree_keys(paths)
        if not are_paths(paths, keys):
            raise EvidenceError("The listing holds an entry that is no path below its root.")
        if self._sorter is None and not self._continues(keys):
            self._begin_to_sort()
        if self._sorter is None:
            self._part.write(rows)
        else:
            self._sorter.put(rows)

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

    @contextmanager
    def _storing(self) -> Iterator[None]:
        try:
            yield
        except EvidenceError:
            self._give_up()
            raise
        except (OSError, pa.ArrowException, ComparisonError) as error:
            self._give_up()
            if getattr(error, "errno", None) == errno.ENOSPC:
                raise EvidenceError(
                    f"The disk is full: {self._file.name} was not kept ({self._file.parent})."
                ) from error
            raise EvidenceError(f"The manifest {self._file} could not be written: {error}") from error

    def _give_up(self) -> None:
        if hasattr(self, "_part"):
            self.abandon()

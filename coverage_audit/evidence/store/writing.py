"""Writing a manifest: whole, under its final name only when every byte of it is on disk."""

from __future__ import annotations

import errno
from collections import deque
from collections.abc import Iterator, Sequence
from concurrent.futures import Future, ThreadPoolExecutor
from contextlib import contextmanager
from datetime import datetime
from pathlib import Path
from typing import Any, Final

import pyarrow as pa

from coverage_audit.errors import ComparisonError, EvidenceError
from coverage_audit.evidence.instants import odd_after
from coverage_audit.evidence.manifest import Blind, CompleteManifest, Manifest, Origin, PartialManifest
from coverage_audit.evidence.store.intake import Intake
from coverage_audit.evidence.store.layout import BATCH_SCHEMA

_GATHERED_ROWS: Final = 65536
_WAITING: Final = 2  # gathered tables that may wait for the disk; then `add` waits too


class ManifestWriter:
    """Takes rows in batches; `finish` makes a manifest of them, `abandon` leaves nothing.

    `started` is when the listing began (mtimes later than a day after it are odd). Rows may come in any order; in
    tree order they are written as they come, else they are put by and sorted under `memory_limit` bytes. A thread
    of its own writes, so that who walks need not wait for it. Raises EvidenceError for a path that comes twice,
    rows that are none, and a disk that is full; perhaps a batch or two later, at the latest in `finish`.
    """

    def __init__(self, file: Path, seed: bytes, memory_limit: int, *, started: datetime) -> None:
        self._file = file
        self._gathered: list[Any] = []
        self._rows = 0
        self._working: deque[Future[None]] = deque()
        with self._storing():
            self._intake = Intake(file, seed, memory_limit, odd_after(started))
        self._thread = ThreadPoolExecutor(1, thread_name_prefix="manifest")

    def add(self, batch: Any) -> None:
        """Take a record batch of BATCH_SCHEMA."""
        if batch.schema != BATCH_SCHEMA:
            raise EvidenceError(f"Rows of another shape were handed in: {batch.schema}")
        self._gathered.append(batch)
        self._rows += len(batch)
        if self._rows >= _GATHERED_ROWS:
            with self._storing():
                self._hand_over()
                self._wait(_WAITING)

    def finish(self, origin: Origin, blind: Sequence[Blind]) -> Manifest:
        """Write what is left, make it last, give it its name and return the manifest."""
        places = tuple(sorted(blind, key=lambda place: place.path))
        with self._storing():
            self._hand_over()
            self._wait(0)
            self._thread.shutdown()
            census = self._intake.complete(origin, places)
        if places:
            return PartialManifest(file=self._file, origin=origin, census=census, blind=places)
        return CompleteManifest(file=self._file, origin=origin, census=census)

    def abandon(self) -> None:
        """Leave no file behind. Harmless after `finish`."""
        self._thread.shutdown(cancel_futures=True)
        self._intake.discard()

    def _hand_over(self) -> None:
        if self._rows:
            rows = pa.Table.from_batches(self._gathered)
            self._gathered, self._rows = [], 0
            self._working.append(self._thread.submit(self._intake.take, rows))

    def _wait(self, most: int) -> None:
        while len(self._working) > most:
            self._working.popleft().result()

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
        if hasattr(self, "_thread"):
            self.abandon()

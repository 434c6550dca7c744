"""Rows that did not come in tree order: sorted in memory while they are few, else in runs on disk that are merged.

The engine could sort too, but holds several times its limit while it does; a merge of runs holds what it is given.
"""

from __future__ import annotations

import contextlib
from collections.abc import Iterator
from pathlib import Path
from typing import Any, Final

import pyarrow as pa
import pyarrow.compute as pc

from coverage_audit.evidence.order import tree_keys
from coverage_audit.evidence.store.layout import BATCH_SCHEMA

_SHARE: Final = 6  # rows, their keys, their copy while they are sorted, and as much again for all else
_MOST_AT_ONCE: Final = 1 << 29  # bytes; Arrow counts the bytes of a column's values in 32 bits
_IN_A_PIECE: Final = 65536
_IN_A_BLOCK: Final = 4096


class Sorter:
    """Takes tables of BATCH_SCHEMA in any order, gives all rows in tree order. Raises OSError when a disk is full."""

    def __init__(self, file: Path, memory_limit: int) -> None:
        self._file = file
        self._budget = min(memory_limit // _SHARE, _MOST_AT_ONCE)
        self._held: list[Any] = []
        self._bytes = 0
        self._runs: list[Path] = []

    def put(self, rows: Any) -> None:
        """Take rows."""
        self._held.append(rows)
        self._bytes += rows.nbytes
        if self._bytes > self._budget:
            self._write_run()

    def in_order(self) -> Iterator[Any]:
        """Yield all rows as tables in tree order."""
        if not self._runs:
            yield from self._sorted_pieces(_IN_A_PIECE)
            return
        self._write_run()
        yield from _merged([_Run(run) for run in self._runs])

    def discard(self) -> None:
        """Remove the runs."""
        self._held = []
        for run in self._runs:
            run.unlink(missing_ok=True)

    def _write_run(self) -> None:
        run = self._file.with_name(f"{self._file.name}.run-{len(self._runs)}")
        self._runs.append(run)
        with pa.OSFile(str(run), "wb") as sink, pa.ipc.new_stream(sink, BATCH_SCHEMA) as writer:
            for piece in self._sorted_pieces(_IN_A_PIECE):
                writer.write_table(piece, max_chunksize=_IN_A_BLOCK)

    def _sorted_pieces(self, rows: int) -> Iterator[Any]:
        if not self._held:
            return
        whole = pa.concat_tables(self._held).combine_chunks()
        self._held, self._bytes = [], 0
        places = pc.sort_indices(tree_keys(whole["path"].chunk(0)))
        for start in range(0, len(whole), rows):
            yield whole.take(places.slice(start, rows))


class _Run:
    """A sorted file of rows, a block of it in memory."""

    def __init__(self, file: Path) -> None:
        self._source = pa.OSFile(str(file))
        self._blocks = pa.ipc.open_stream(self._source)
        self.read_on()

    def close(self) -> None:
        """Close the file."""
        self._source.close()

    def read_on(self) -> None:
        """Take the next block; `rows` is None at the end."""
        try:
            self.rows = pa.Table.from_batches([self._blocks.read_next_batch()])
        except StopIteration:
            self.rows = None
            return
        self.keys = tree_keys(self.rows["path"].chunk(0))
        self.last = self.keys[len(self.keys) - 1]

    def split_off(self, last: Any) -> Any:
        """Give the rows up to the key `last` and keep the others."""
        count = pc.sum(pc.less_equal(self.keys, last)).as_py()
        first = self.rows.slice(0, count)
        if count == len(self.rows):
            self.read_on()
        else:
            self.rows, self.keys = self.rows.slice(count), self.keys.slice(count)
        return first


def _merged(runs: list[_Run]) -> Iterator[Any]:
    """Yield the rows of sorted runs in one order: each time all that is not later than the first block to end."""
    with contextlib.ExitStack() as stack:
        for run in runs:
            stack.callback(run.close)
        while True:
            open_runs = [run for run in runs if run.rows is not None]
            if not open_runs:
                return
            last = min((run.last for run in open_runs), key=lambda key: key.as_py())
            together = pa.concat_tables([run.split_off(last) for run in open_runs]).combine_chunks()
            yield together.take(pc.sort_indices(tree_keys(together["path"].chunk(0))))

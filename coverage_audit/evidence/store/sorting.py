"""Rows that did not come in tree order: put by on disk as they come, handed back sorted, within the memory limit."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pyarrow as pa

from coverage_audit.evidence.engine import open_engine
from coverage_audit.evidence.order import tree_keys
from coverage_audit.evidence.store.layout import BATCH_SCHEMA

_SPILL_SCHEMA = pa.schema([pa.field("tree_key", pa.binary(), nullable=False), *BATCH_SCHEMA])


class Spill:
    """Rows put by in a file beside the manifest that is being written."""

    def __init__(self, file: Path, memory_limit: int) -> None:
        self._file = file
        self._temp = file.with_name(file.name + ".temp")
        self._memory_limit = memory_limit
        self._writer = pa.ipc.new_stream(str(file), _SPILL_SCHEMA)

    def put(self, rows: Any) -> None:
        """Put by a record batch or table of BATCH_SCHEMA."""
        for batch in (
            pa.Table.from_batches([rows]).to_batches() if isinstance(rows, pa.RecordBatch) else rows.to_batches()
        ):
            keys = tree_keys(batch["path"])
            self._writer.write_batch(pa.RecordBatch.from_arrays([keys, *batch.columns], schema=_SPILL_SCHEMA))

    def in_order(self) -> Iterator[Any]:
        """Yield all rows in tree order, as batches of BATCH_SCHEMA. Raises ComparisonError as the engine does."""
        self._writer.close()
        columns = ", ".join(BATCH_SCHEMA.names)
        with open_engine(self._memory_limit, self._temp) as engine, pa.OSFile(str(self._file)) as source:
            spilled = pa.ipc.open_stream(source)
            sql = f"SELECT {columns} FROM spilled ORDER BY tree_key"  # noqa: S608 - the names are this program's own
            for batch in engine.stream(sql, tables={"spilled": spilled}):
                yield batch.cast(BATCH_SCHEMA)

    def discard(self) -> None:
        """Remove what was put by."""
        self._writer.close()
        self._file.unlink(missing_ok=True)
        shutil.rmtree(self._temp, ignore_errors=True)

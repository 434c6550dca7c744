"""The relation of differing rows as a file: its columns, its writer, its reader.

Parquet, in tree order of the path, one row a differing entry. What is written is complete or not there: rows go to
a `.part` file that is renamed after it was synced; a reader never meets a half relation.
"""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path
from types import TracebackType
from typing import Self

import pyarrow as pa
import pyarrow.parquet as pq

from coverage_audit.errors import ComparisonError
from coverage_audit.evidence.durable import bring_to_disk

RAW_SCHEMA_NAME = "coverage-audit/differences/1"
"""Stage 1's relation: what differs, and both sides' values."""

METADATA_KEY = b"coverage_audit"

_SIDE = (
    ("kind", pa.string()),
    ("size", pa.int64()),
    ("mtime_ns", pa.int64()),
    ("ctime_ns", pa.int64()),
    ("target", pa.binary()),
    ("digest", pa.binary()),  # where both sides offer one of the same algorithm
)
LATER = ("o_digest", "c_digest")
"""Columns that relations of the first version have not: they read as null."""


RAW = pa.schema(
    [
        pa.field("key_hi", pa.uint64(), nullable=False),
        pa.field("key_lo", pa.uint64(), nullable=False),
        pa.field("path", pa.binary(), nullable=False),
        pa.field("row_class", pa.string(), nullable=False),  # a RowClass value
        pa.field("blind", pa.bool_(), nullable=False),  # missing, and below a blind place of the copy
        *(pa.field(f"o_{name}", of) for name, of in _SIDE),  # the original's row; null where EXTRA
        *(pa.field(f"c_{name}", of) for name, of in _SIDE),  # the copy's row; null where MISSING
    ]
)
"""Columns of the raw relation."""


class RelationWriter:
    """Writes one relation, batch by batch; use it as a context manager.

    Leaving the block by an exception leaves no file. Raises ComparisonError when the disk is full or
    cannot be written.
    """

    def __init__(self, file: Path, schema: pa.Schema, described: Mapping[str, object]) -> None:
        self._file = file
        self._part = file.with_name(file.name + ".part")
        self._schema = schema.with_metadata({METADATA_KEY: json.dumps(described).encode()})
        self._writer: pq.ParquetWriter | None = None
        self.rows = 0

    def __enter__(self) -> Self:
        """Open the part file."""
        try:
            self._writer = pq.ParquetWriter(
                self._part,
                self._schema,
                compression="zstd",
                compression_level=1,
                use_dictionary=["row_class", "o_kind", "c_kind"],
            )
        except OSError as error:
            raise self._unwritable(error) from error
        return self

    def add(self, table: pa.Table) -> None:
        """Append rows that have the relation's columns (in any order); row groups are as large as the table."""
        if not table.num_rows or self._writer is None:
            return
        try:
            self._writer.write_table(table.select(self._schema.names).cast(self._schema))
        except OSError as error:
            raise self._unwritable(error) from error
        self.rows += table.num_rows

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        """Sync and rename after success; remove the part file after a failure."""
        try:
            self._close()
            if kind is None:
                bring_to_disk(self._part)
                self._part.replace(self._file)
                bring_to_disk(self._file.parent)
        except OSError as trouble:
            if kind is None:
                raise self._unwritable(trouble) from trouble
        finally:
            self._part.unlink(missing_ok=True)

    def _close(self) -> None:
        writer, self._writer = self._writer, None
        if writer is not None:
            writer.close()

    def _unwritable(self, error: OSError) -> ComparisonError:
        return ComparisonError(f"the differing rows cannot be written to {self._file}: {error}")


def read_relation(file: Path, columns: Sequence[str] | None = None, *, batch: int = 65536) -> Iterator[pa.Table]:
    """Yield the rows of a relation in order, at most `batch` at a time.

    Raises ComparisonError if the file is missing, cut or foreign.
    """
    try:
        with pq.ParquetFile(file) as parquet:
            if METADATA_KEY not in (parquet.schema_arrow.metadata or {}):
                raise ComparisonError(f"{file} is no relation of differing rows")
            lacking = [name for name in LATER if name not in parquet.schema_arrow.names]
            lacking = [name for name in lacking if columns is None or name in columns]
            there = None if columns is None else [name for name in columns if name not in lacking]
            for records in parquet.iter_batches(batch_size=batch, columns=there, use_threads=False):
                table = pa.Table.from_batches([records])
                for name in lacking:
                    table = table.append_column(name, pa.nulls(len(table), pa.binary()))
                yield table
    except (OSError, pa.ArrowException) as error:
        raise ComparisonError(f"the differing rows in {file} cannot be read: {error}") from error


def described(file: Path) -> Mapping[str, object]:
    """Return what a relation says of itself (schema name, pair, when). Raises ComparisonError as the reader does."""
    try:
        metadata = pq.read_schema(file).metadata or {}
        return dict(json.loads(metadata[METADATA_KEY]))
    except (OSError, pa.ArrowException, KeyError, ValueError) as error:
        raise ComparisonError(f"{file} is no relation of differing rows: {error}") from error

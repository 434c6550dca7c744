"""Reading manifests: all or nothing. A file that is cut, damaged, foreign or newer is an EvidenceError."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import Any, Self

import pyarrow as pa
import pyarrow.parquet as pq

from coverage_audit.errors import EvidenceError
from coverage_audit.evidence.manifest import CompleteManifest, Kind, Manifest, PartialManifest, Row
from coverage_audit.evidence.store.footer import Footer, parse_footer
from coverage_audit.evidence.store.layout import FIRST_ROW_SCHEMA, LATER, ROW_SCHEMA, Group


class RowReader:
    """A manifest file held open, for who reads many of its groups. Raises EvidenceError like all here.

    One reader is for one thread; `twin` opens another. `coded`: kinds come as a dictionary column, in a fifth of the
    time.
    """

    def __init__(self, file: Path, *, coded: bool = False, known: tuple[Any, Footer] | None = None) -> None:
        self._name = file
        self._coded = coded
        options: dict[str, Any] = {"page_checksum_verification": True, "read_dictionary": ["kind"] if coded else None}
        with _whole(file):
            self._parquet = pq.ParquetFile(file, metadata=known[0] if known else None, **options)
            self.footer: Footer = known[1] if known else _checked_footer(self._parquet)

    def twin(self) -> RowReader:
        """Open the file once more, for another thread; what the file says of itself is shared."""
        return RowReader(self._name, coded=self._coded, known=(self._parquet.metadata, self.footer))

    @property
    def groups(self) -> tuple[Group, ...]:
        """What the footer says of each row group, in tree order."""
        return self.footer.groups

    def read(self, numbers: Sequence[int], columns: Sequence[str]) -> Any:
        """Return these columns of these groups as one Arrow table, in the order asked for."""
        with _whole(self._name):
            lacking = [name for name in columns if name in LATER] if self.footer.first else []
            there = [name for name in columns if name not in lacking]
            table = self._parquet.read_row_groups(list(numbers), columns=there, use_threads=False)
            for name in lacking:
                table = table.append_column(name, pa.nulls(len(table), ROW_SCHEMA.field(name).type))
            if len(table) != sum(self.groups[number].rows for number in numbers):
                raise EvidenceError("a group has not the rows that the footer says")
            return table

    def close(self) -> None:
        """Close the file."""
        self._parquet.close()

    def __enter__(self) -> Self:
        """Use it in a `with` block."""
        return self

    def __exit__(self, *_raised: object) -> None:
        """Close the file."""
        self.close()


def open_manifest(file: Path) -> Manifest:
    """Return what a manifest file holds, as the type it deserves: partial where it has blind places."""
    with RowReader(file) as reader:
        footer = reader.footer
    if footer.blind:
        return PartialManifest(file=file, origin=footer.origin, census=footer.census, blind=footer.blind)
    return CompleteManifest(file=file, origin=footer.origin, census=footer.census)


def group_index(file: Path) -> tuple[Group, ...]:
    """Return what the file's footer says of its row groups, in tree order."""
    with RowReader(file) as reader:
        return reader.groups


def read_groups(file: Path, numbers: Sequence[int], columns: Sequence[str]) -> Any:
    """Return some columns of some groups as one Arrow table."""
    with RowReader(file) as reader:
        return reader.read(numbers, columns)


def rows(file: Path) -> Iterator[Row]:
    """Yield every row in tree order, as objects: for tests, messages and small trees only."""
    with RowReader(file) as reader:
        for number in range(len(reader.groups)):
            for found in reader.read([number], ROW_SCHEMA.names[2:]).to_pylist():
                yield Row(**{**found, "kind": Kind(found["kind"])})


def _checked_footer(parquet: Any) -> Footer:
    footer = parse_footer(parquet.metadata.metadata or {})
    if not parquet.metadata.schema.to_arrow_schema().equals(FIRST_ROW_SCHEMA if footer.first else ROW_SCHEMA):
        raise EvidenceError("its columns are not those of a manifest")
    found = [parquet.metadata.row_group(number).num_rows for number in range(parquet.metadata.num_row_groups)]
    if found != [group.rows for group in footer.groups] or sum(found) != footer.census.entries:
        raise EvidenceError("its groups are not those that it describes")
    return footer


@contextmanager
def _whole(file: Path) -> Iterator[None]:
    try:
        yield
    except EvidenceError as error:
        raise EvidenceError(f"The manifest {file} cannot be used: {error}.") from error
    except (pa.ArrowException, OSError, ValueError, KeyError, TypeError) as error:
        raise EvidenceError(f"The manifest {file} cannot be read: {error}") from error

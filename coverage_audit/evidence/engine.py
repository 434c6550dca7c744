"""The one door to the engine that joins, sorts and hashes more rows than memory should hold.

It works in memory and spills into a folder of ours; it may load no extension, open no file and reach no network:
rows go in and come out as Arrow tables.
"""

from __future__ import annotations

import os
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from pathlib import Path
from types import TracebackType
from typing import Any, Self

import duckdb

from coverage_audit.errors import ComparisonError

NOTHING: Mapping[str, Any] = {}
SPILL_LIMIT = "64GB"  # more than 100 million rows need; a disk with less says so itself


class Engine:
    """An open engine. Tables are Arrow tables or readers, known by name for the length of one question."""

    def __init__(self, connection: duckdb.DuckDBPyConnection) -> None:
        self._connection = connection

    def __enter__(self) -> Self:
        """Use it in a `with` block: leaving it frees memory and spilled files."""
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        """Close it."""
        self.close()

    def close(self) -> None:
        """Free its memory and its spilled files."""
        self._connection.close()

    def query(self, sql: str, params: Sequence[object] = (), tables: Mapping[str, Any] = NOTHING) -> Any:
        """Return the whole answer as one Arrow table. Raises ComparisonError when memory or disk is short."""
        with self._asked(sql, params, tables) as answer:
            return answer.to_arrow_table()

    def stream(
        self, sql: str, params: Sequence[object] = (), tables: Mapping[str, Any] = NOTHING, *, rows: int = 65536
    ) -> Iterator[Any]:
        """Yield the answer as Arrow record batches of about `rows` rows. Raises as `query` does."""
        with self._asked(sql, params, tables) as answer:
            yield from answer.to_arrow_reader(rows)

    def execute(self, sql: str, params: Sequence[object] = (), tables: Mapping[str, Any] = NOTHING) -> None:
        """Run a statement that has no answer (CREATE TEMP TABLE, INSERT …). Raises as `query` does."""
        with self._known(tables), _translated():
            self._connection.execute(sql, list(params))

    @contextmanager
    def _asked(self, sql: str, params: Sequence[object], tables: Mapping[str, Any]) -> Iterator[Any]:
        with self._known(tables), _translated():
            yield self._connection.sql(sql, params=list(params) or None)

    @contextmanager
    def _known(self, tables: Mapping[str, Any]) -> Iterator[None]:
        for name, table in tables.items():
            self._connection.register(name, table)
        try:
            yield
        finally:
            for name in tables:
                self._connection.unregister(name)


def open_engine(memory_limit: int, temp: Path) -> Engine:
    """Open an engine that holds at most about `memory_limit` bytes and spills the rest below `temp`.

    Raises ComparisonError when it cannot start (e.g. an impossible limit).
    """
    if memory_limit <= 0:
        raise ComparisonError(f"The engine cannot work in {memory_limit} bytes of memory.")
    with _translated():
        connection = duckdb.connect(
            ":memory:",
            config={
                "memory_limit": f"{memory_limit}B",
                "temp_directory": str(temp),
                "max_temp_directory_size": SPILL_LIMIT,
                "threads": str(min(4, os.cpu_count() or 1)),
                "autoinstall_known_extensions": "false",
                "autoload_known_extensions": "false",
                "preserve_insertion_order": "true",
            },
        )
        connection.execute("SET enable_progress_bar = false")  # it would write into JSON on standard output
        connection.execute("SET enable_external_access = false")
        connection.execute("SET lock_configuration = true")
    return Engine(connection)


@contextmanager
def _translated() -> Iterator[None]:
    try:
        yield
    except (duckdb.OutOfMemoryException, MemoryError) as error:
        raise ComparisonError(f"The engine ran out of memory under its limit: {_first_line(error)}") from error
    except (duckdb.IOException, OSError) as error:
        raise ComparisonError(f"The engine could not use its disk: {_first_line(error)}") from error


def _first_line(error: BaseException) -> str:
    return (str(error) or type(error).__name__).splitlines()[0]

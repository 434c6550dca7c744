"""Transactions on the ledger's database, their errors said in words that a person can act on."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager

from sqlalchemy import Connection, Engine

from coverage_audit.ledger.connecting import READING
from coverage_audit.ledger.faults import speaking_of_database


class Transactions:
    """What reads and writes a ledger. `where` names its database without any password."""

    def __init__(self, engine: Engine, where: str) -> None:
        self._engine = engine
        self._where = where

    @contextmanager
    def _reading(self) -> Iterator[Connection]:
        """Read what was committed; waits for no writer. Raises LedgerError."""
        with speaking_of_database(self._where), self._engine.connect() as connection:
            yield connection.execution_options(**READING)

    @contextmanager
    def _writing(self) -> Iterator[Connection]:
        """Write all of it or nothing. Raises LedgerError."""
        with speaking_of_database(self._where), self._engine.begin() as connection:
            yield connection

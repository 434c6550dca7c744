"""Connections: SQLite as a careful file, or any other database by URL, with explicit transactions."""

from __future__ import annotations

import os
from pathlib import Path

from sqlalchemy import URL, Connection, Engine, create_engine, event
from sqlalchemy.engine import make_url
from sqlalchemy.engine.interfaces import DBAPIConnection
from sqlalchemy.exc import ArgumentError, NoSuchModuleError
from sqlalchemy.pool import ConnectionPoolEntry, NullPool

from coverage_audit.errors import LedgerError
from coverage_audit.ledger.folder import StateFolder, speaking_of

READING = {"coverage_audit_begin": "BEGIN"}
"""Execution options of a connection that only reads: it waits for no writer."""

OUTSIDE = {"coverage_audit_begin": ""}
"""Execution options of a connection for statements that SQLite refuses within a transaction."""

_PRAGMAS = ("journal_mode=wal", "synchronous=full", "foreign_keys=on", "busy_timeout=30000")


def connect(folder: StateFolder, url: str | None) -> Engine:
    """Return an engine for the ledger: the folder's own SQLite file, or the database of `url`.

    Raises LedgerError for an address that names no database; never repeats it, it may hold a password.
    """
    if url is None:
        with speaking_of(folder.path):
            os.close(os.open(folder.database, os.O_RDWR | os.O_CREAT, 0o600))
        return _sqlite(folder.database)
    try:
        parsed = make_url(url)
        if parsed.get_backend_name() == "sqlite":
            return _sqlite(Path(parsed.database or ""))
        engine = create_engine(parsed, poolclass=NullPool, connect_args=_session(parsed.get_backend_name()))
    except (ArgumentError, NoSuchModuleError, ModuleNotFoundError, ValueError):
        raise LedgerError("the ledger's database address cannot be read; write postgresql://user@host/name") from None
    return engine


def _session(backend: str) -> dict[str, str]:
    return {"options": "-c timezone=UTC", "application_name": "coverage-audit"} if backend == "postgresql" else {}


def _sqlite(file: Path) -> Engine:
    """Open a file with the driver's own transactions switched off: they would commit before DDL."""
    engine = create_engine(
        URL.create("sqlite", database=str(file)),
        connect_args={"isolation_level": None, "check_same_thread": False},
        poolclass=NullPool,
    )
    event.listen(engine, "connect", _prepare)
    event.listen(engine, "begin", _begin)
    return engine


def _prepare(connection: DBAPIConnection, _record: ConnectionPoolEntry) -> None:
    cursor = connection.cursor()
    for pragma in _PRAGMAS:
        cursor.execute(f"PRAGMA {pragma}")
    cursor.close()


def _begin(connection: Connection) -> None:
    """Begin by taking the write lock: a read that turns into a write would fail at once in WAL mode."""
    begin = connection.get_execution_options().get("coverage_audit_begin", "BEGIN IMMEDIATE")
    if begin:
        connection.exec_driver_sql(begin)

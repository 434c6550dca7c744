"""Connections: SQLite as a careful file, or any other database by URL, with explicit transactions."""

from __future__ import annotations

import errno
import os
import stat
from contextlib import suppress
from datetime import timedelta
from functools import partial
from pathlib import Path
from typing import Final

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

WAIT: Final = timedelta(seconds=30)
"""So long whoever looks or notes something waits for another program that uses the database."""

PATIENCE: Final = timedelta(minutes=5)
"""So long an audit waits for it: a night's evidence is not lost to a copy of the database that is being made."""

_CONNECTING: Final = timedelta(seconds=30)
_PRAGMAS = ("journal_mode=wal", "synchronous=full", "foreign_keys=on")


def connect(folder: StateFolder, url: str | None, *, wait: timedelta = WAIT) -> Engine:
    """Return an engine for the ledger: the folder's own SQLite file, or the database of `url`.

    What another program has locked is waited for; after `wait` it is an error. Raises LedgerError for an address that
    names no database; never repeats it, it may hold a password.
    """
    if url is None:
        with speaking_of(folder.path):
            _make(folder.database)
        return _sqlite(folder.database, wait)
    try:
        parsed = make_url(url)
        if parsed.get_backend_name() == "sqlite":
            return _sqlite(Path(parsed.database or ""), wait)
        session = _session(parsed.get_backend_name(), wait)
        engine = create_engine(parsed, poolclass=NullPool, connect_args=session)
    except (ArgumentError, NoSuchModuleError, ModuleNotFoundError, ValueError):
        raise LedgerError("the ledger's database address cannot be read; write postgresql://user@host/name") from None
    return engine


def _make(file: Path) -> None:
    """Make the file for its owner alone, where it is missing, and never open one that is there.

    To close any descriptor of it would cancel all locks that this process holds on it (fcntl(2)): another process could
    then take itself for the last that uses the database, and what other threads here write meanwhile would be lost.
    """
    with suppress(FileExistsError):
        os.mknod(file, stat.S_IFREG | 0o600)
    if not os.access(file, os.R_OK | os.W_OK):
        readonly = os.statvfs(file).f_flag & os.ST_RDONLY
        number = errno.EROFS if readonly else errno.EACCES
        raise OSError(number, os.strerror(number), str(file))


def _session(backend: str, wait: timedelta) -> dict[str, str]:
    if backend != "postgresql":
        return {}
    return {
        "options": f"-c timezone=UTC -c lock_timeout={_milliseconds(wait)}",
        "application_name": "coverage-audit",
        "connect_timeout": str(_CONNECTING // timedelta(seconds=1)),
    }


def _milliseconds(span: timedelta) -> int:
    return span // timedelta(milliseconds=1)


def _sqlite(file: Path, wait: timedelta) -> Engine:
    """Open a file with the driver's own transactions switched off: they would commit before DDL."""
    engine = create_engine(
        URL.create("sqlite", database=str(file)),
        connect_args={"isolation_level": None, "check_same_thread": False},
        poolclass=NullPool,
    )
    event.listen(engine, "connect", partial(_prepare, wait))
    event.listen(engine, "begin", _begin)
    return engine


def _prepare(wait: timedelta, connection: DBAPIConnection, _record: ConnectionPoolEntry) -> None:
    cursor = connection.cursor()
    for pragma in (f"busy_timeout={_milliseconds(wait)}", *_PRAGMAS):
        cursor.execute(f"PRAGMA {pragma}")
    cursor.close()


def _begin(connection: Connection) -> None:
    """Begin by taking the write lock: a read that turns into a write would fail at once in WAL mode."""
    begin = connection.get_execution_options().get("coverage_audit_begin", "BEGIN IMMEDIATE")
    if begin:
        connection.exec_driver_sql(begin)

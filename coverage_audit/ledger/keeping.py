"""The files beside the database: put in place when an audit is recorded, swept after a crash, pruned in time.

The order is always: file on the disk under its final name, then the row that names it; and row gone, then file
gone. So a row never names a file that is not whole, and a file that no row names is rubbish.
"""

from __future__ import annotations

import secrets
from collections.abc import Iterable
from datetime import datetime
from pathlib import Path

from sqlalchemy import Column, Connection, Engine, Table, select, update

from coverage_audit.errors import LedgerError
from coverage_audit.evidence.durable import bring_to_disk
from coverage_audit.ledger.connecting import READING
from coverage_audit.ledger.folder import StateFolder, clear, stamp
from coverage_audit.ledger.needed import needed_manifests, needed_relations, needed_rows
from coverage_audit.ledger.tables import COMPARISONS, MANIFESTS
from coverage_audit.ledger.tables_of_turnover import TURNOVERS


def place(files: Iterable[Path], into: Path, staging: Path, audit: datetime) -> dict[Path, Path]:
    """Move staged files to their final names, on the disk before this returns; kept ones stay where they are.

    Raises LedgerError for a file that lies in neither place or is not there, OSError where the disk fails.
    """
    moved: dict[Path, Path] = {}
    for file in dict.fromkeys(files):
        if file.parent.resolve() == into.resolve():
            moved[file] = into / file.name
        elif staging.resolve() in file.resolve().parents:
            moved[file] = _move(file, into / f"{stamp(audit)}-{len(moved):04d}-{secrets.token_hex(4)}.parquet")
        else:
            raise LedgerError(f"{file} was not staged for this ledger")
    bring_to_disk(into)
    return moved


def _move(file: Path, target: Path) -> Path:
    if not file.is_file():
        raise LedgerError(f"{file} was to be recorded and is not there")
    bring_to_disk(file)
    file.rename(target)
    return target


def sweep(engine: Engine, folder: StateFolder) -> None:
    """Remove what a killed audit left: all that is staged, and every file that no row names.

    Only for whoever holds the state folder: another audit's files would look the same.
    """
    clear(folder.staging)
    for unfinished in folder.digests.glob("*.part"):
        unfinished.unlink()
    with engine.connect().execution_options(**READING) as connection:
        kept_manifests = set(connection.scalars(select(MANIFESTS.c.file).where(MANIFESTS.c.file.is_not(None))))
        kept_relations = set(connection.scalars(select(COMPARISONS.c.relation)))
        kept_relations |= set(connection.scalars(select(TURNOVERS.c.rows)))
    _remove_others(folder.manifests, kept_manifests)
    _remove_others(folder.relations, kept_relations)


def prune(engine: Engine, folder: StateFolder, now: datetime) -> None:
    """Let go of files that nothing needs any more (`coverage_audit.ledger.needed` says what does)."""
    with engine.begin() as connection:
        manifests = _forget(connection, MANIFESTS, MANIFESTS.c.file, needed_manifests(connection, now))
        relations = _forget(connection, COMPARISONS, COMPARISONS.c.relation, needed_relations(connection, now))
        relations |= _forget(connection, TURNOVERS, TURNOVERS.c.rows, needed_rows(connection, now))
    for name in manifests:
        (folder.manifests / name).unlink(missing_ok=True)
    for name in relations:
        (folder.relations / name).unlink(missing_ok=True)


def _forget(connection: Connection, table: Table, column: Column[str], needed: set[str]) -> set[str]:
    """Empty the file names that are not needed and return them."""
    named = set(connection.scalars(select(column).where(column.is_not(None))))
    unneeded = named - needed
    for name in unneeded:
        connection.execute(update(table).where(column == name).values({column: None}))
    return unneeded


def _remove_others(folder: Path, kept: set[str]) -> None:
    for entry in folder.iterdir():
        if entry.name not in kept:
            entry.unlink()

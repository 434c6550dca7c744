"""Opening the ledger of a state folder: made when it is missing, migrated when it is older, checked always."""

from __future__ import annotations

from contextlib import nullcontext
from pathlib import Path

from sqlalchemy import Engine, insert, select

from coverage_audit.errors import LedgerError
from coverage_audit.ledger.connecting import PATIENCE, READING, WAIT, connect
from coverage_audit.ledger.faults import damaged, speaking_of_database
from coverage_audit.ledger.folder import StateFolder, seed_digest, speaking_of
from coverage_audit.ledger.keeping import sweep
from coverage_audit.ledger.ledger import Ledger
from coverage_audit.ledger.lock import exclusive, held_here
from coverage_audit.ledger.migrating import is_current, migrate
from coverage_audit.ledger.tables import STATE

__all__ = ["exclusive", "open_ledger"]


def open_ledger(state: Path, url: str | None = None) -> Ledger:
    """Open the ledger of `state`: its own SQLite file, or the database of `url` with the files in `state`.

    Within `exclusive(state)` the database is checked as well and all that a killed audit left is cleared away;
    without it only the tables are made or migrated, under the lock. Raises LedgerError with what to do where
    the folder or the database cannot be used, is damaged, or was written by a newer version; LedgerBusyError
    where the tables have to be changed while an audit is running. For a database that another program has locked an
    audit waits longer than others do.
    """
    folder = StateFolder(path=state)
    folder.prepare()
    engine = connect(folder, url, wait=PATIENCE if held_here(state) else WAIT)
    where = engine.url.set(query={}).render_as_string(hide_password=True) if url else str(folder.database)
    with speaking_of_database(where):
        if not is_current(engine):
            with nullcontext() if held_here(state) else exclusive(state):
                migrate(engine)
        seed = _seed(engine, folder)
        if held_here(state):
            _check(engine, where)
            with speaking_of(state):
                sweep(engine, folder)
    return Ledger(engine=engine, folder=folder, seed=seed, where=where)


def _seed(engine: Engine, folder: StateFolder) -> bytes:
    """Return the folder's seed, and make sure that folder and database belong together."""
    with engine.connect().execution_options(**READING) as connection:
        known = connection.execute(select(STATE.c.seed_digest)).scalar()
    if known is None:
        return _marry(engine, folder)
    if not (folder.path / "seed").exists() or seed_digest(folder.seed()) != known:
        raise LedgerError(
            f"the state folder {folder.path} and its ledger do not belong together (the file 'seed' is missing or "
            "another one): put back a copy of the whole state folder, or start with a new one"
        )
    return folder.seed()


def _marry(engine: Engine, folder: StateFolder) -> bytes:
    with speaking_of(folder.path):
        if any(folder.manifests.iterdir()):
            raise LedgerError(
                f"the state folder {folder.path} holds manifests of which its ledger knows nothing: put back the "
                "ledger that belongs to them, or move the folder aside and start with a new one"
            )
    seed = folder.seed()
    with engine.begin() as connection:
        if connection.execute(select(STATE.c.id)).first() is None:
            connection.execute(insert(STATE).values(id=1, seed_digest=seed_digest(seed)))
    return seed


def _check(engine: Engine, where: str) -> None:
    if engine.dialect.name != "sqlite":
        return
    with engine.connect().execution_options(**READING) as connection:
        said = connection.exec_driver_sql("PRAGMA quick_check(1)").scalar()
    if said != "ok":
        raise damaged(where, str(said))

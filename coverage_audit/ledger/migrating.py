"""Bringing a ledger to this version's tables: copied first, refused where it is newer."""

from __future__ import annotations

import os
from collections.abc import Iterator
from contextlib import contextmanager
from importlib.resources import files
from pathlib import Path

from alembic import command
from alembic.config import Config
from alembic.migration import MigrationContext
from alembic.script import ScriptDirectory
from sqlalchemy import Connection, Engine

from coverage_audit.errors import LedgerError
from coverage_audit.ledger.connecting import OUTSIDE, READING
from coverage_audit.ledger.faults import damaged


def revision(engine: Engine) -> str | None:
    """Return the revision of the tables that a ledger has (None: it has none yet)."""
    with engine.connect().execution_options(**READING) as connection:
        return MigrationContext.configure(connection).get_current_revision()


def is_current(engine: Engine) -> bool:
    """Whether a ledger's tables are this version's; raises LedgerError where a newer version made them."""
    found = revision(engine)
    script = ScriptDirectory.from_config(_config())
    if found is not None and found not in {step.revision for step in script.walk_revisions()}:
        raise LedgerError(
            f"the ledger was written by a newer version of coverage-audit (its tables are '{found}'): "
            "install that version again, or use another state folder"
        )
    return found == script.get_current_head()


def migrate(engine: Engine) -> None:
    """Create the tables or bring them up to date, in one transaction. The caller holds the state folder."""
    if engine.dialect.name == "sqlite" and revision(engine) is not None:
        _copy(engine)
    with rebuilding(engine) as connection:
        command.upgrade(_config(connection), "head")


@contextmanager
def rebuilding(engine: Engine) -> Iterator[Connection]:
    """Give a transaction in which tables may be rebuilt; raises LedgerError where rows then point nowhere."""
    with engine.connect() as connection:
        if engine.dialect.name == "sqlite":
            _without_foreign_keys(connection)
        with connection.begin():
            yield connection
            _check_foreign_keys(connection)


def _config(connection: Connection | None = None) -> Config:
    config = Config()
    config.set_main_option("script_location", str(files("coverage_audit.ledger") / "migrations").replace("%", "%%"))
    config.set_main_option("path_separator", "os")
    config.attributes["connection"] = connection
    return config


def _copy(engine: Engine) -> None:
    """Keep the ledger as it was, beside it: a migration that fails half-way costs nothing."""
    file = Path(engine.url.database or "")
    kept = file.with_name(f"{file.name}.before-{revision(engine)}")
    kept.unlink(missing_ok=True)
    os.close(os.open(kept, os.O_RDWR | os.O_CREAT | os.O_EXCL, 0o600))
    with engine.connect().execution_options(**OUTSIDE) as connection:
        connection.exec_driver_sql("VACUUM INTO ?", (str(kept),))


def _without_foreign_keys(connection: Connection) -> None:
    """Switch them off while tables are rebuilt: dropping the old one would delete what refers to it."""
    driver = connection.connection.driver_connection
    if driver is not None:
        driver.execute("PRAGMA foreign_keys=off")


def _check_foreign_keys(connection: Connection) -> None:
    if connection.dialect.name != "sqlite":
        return
    broken = connection.exec_driver_sql("PRAGMA foreign_key_check").fetchall()
    if broken:
        raise damaged(str(connection.engine.url.database), f"{len(broken)} rows refer to rows that are not there")

from __future__ import annotations

import sqlite3
from collections.abc import Callable
from pathlib import Path

import pytest
from alembic import command
from alembic.autogenerate import compare_metadata
from alembic.migration import MigrationContext
from sqlalchemy import text

from coverage_audit.errors import LedgerError
from coverage_audit.ledger.connecting import connect
from coverage_audit.ledger.folder import StateFolder
from coverage_audit.ledger.ledger import Ledger
from coverage_audit.ledger.migrating import _config, migrate
from coverage_audit.ledger.opening import exclusive, open_ledger
from coverage_audit.ledger.record import AuditRecord
from coverage_audit.ledger.tables import METADATA
from tests.builders.nights import filled, mode, refused
from tests.builders.recorded import ESTATE_TEXT, a_finding, a_judged


def test_a_ledger_of_a_newer_version_is_refused(state: Path) -> None:
    filled(state).close()
    with sqlite3.connect(state / "ledger.db") as database:
        database.execute("update alembic_version set version_num='9999'")
    database.close()
    assert "newer version" in refused(state)


def test_the_migrations_make_exactly_the_tables_declared(state: Path, url: str | None) -> None:
    open_ledger(state, url).close()
    with connect(StateFolder(path=state), url).connect() as connection:
        context = MigrationContext.configure(connection, opts={"compare_type": True})
        assert compare_metadata(context, METADATA) == []


def test_a_filled_ledger_goes_down_and_up_again(state: Path, url: str | None, reopen: Callable[[], Ledger]) -> None:
    with exclusive(state), reopen() as ledger:
        judged = a_judged(datasets={"field-recordings": [a_finding()]})
        ledger.record(AuditRecord(judged=judged, estate_text=ESTATE_TEXT))
    engine = connect(StateFolder(path=state), url)
    with engine.begin() as connection:
        command.downgrade(_config(connection), "base")
        assert MigrationContext.configure(connection).get_current_revision() is None
    with exclusive(state), reopen() as ledger:
        assert ledger.finding_ids() == ()


def test_a_ledger_is_copied_before_it_is_migrated(state: Path) -> None:
    filled(state).close()
    engine = connect(StateFolder(path=state), None)
    with exclusive(state):
        migrate(engine)
    kept = state / "ledger.db.before-0001"
    assert mode(kept) == 0o600
    with sqlite3.connect(kept) as copy:
        assert copy.execute("select finding from findings").fetchall() == [("copies:field-recordings",)]
    copy.close()


def test_a_migration_that_fails_half_way_leaves_the_ledger_as_it_was(state: Path, url: str | None) -> None:
    StateFolder(path=state).prepare()
    engine = connect(StateFolder(path=state), url)
    with engine.begin() as connection:
        connection.execute(text("create table comparisons (x integer)"))
    with pytest.raises(LedgerError, match="comparisons"):
        open_ledger(state, url)
    with engine.connect() as connection:
        assert MigrationContext.configure(connection).get_current_revision() is None
        names = connection.dialect.get_table_names(connection)
    assert "audits" not in names

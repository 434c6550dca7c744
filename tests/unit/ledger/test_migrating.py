from __future__ import annotations

import sqlite3
from collections.abc import Callable, Iterable
from pathlib import Path
from typing import Any

import pytest
from alembic import command
from alembic.autogenerate import compare_metadata
from alembic.migration import MigrationContext
from sqlalchemy import Engine, insert, select, text

from coverage_audit.errors import LedgerError
from coverage_audit.ledger.connecting import connect
from coverage_audit.ledger.folder import StateFolder
from coverage_audit.ledger.ledger import Ledger
from coverage_audit.ledger.metadata import METADATA
from coverage_audit.ledger.migrating import _config, rebuilding
from coverage_audit.ledger.opening import exclusive, open_ledger
from coverage_audit.ledger.record import AuditRecord
from coverage_audit.ledger.tables import ESTATE_EVENTS, SHELF_RECORDS
from tests.builders.nights import filled, mode, one_night, refused
from tests.builders.recorded import COPY, ESTATE_TEXT, ORIGINAL, RECORDINGS, a_box_answer, a_finding, a_judged, night

ADDED = ("original_whole", "trusted")
"""Columns of later versions beside those of what a comparison left out."""


def test_a_ledger_of_a_newer_version_is_refused(state: Path, url: str | None) -> None:
    filled(state, url).close()
    with connect(StateFolder(path=state), url).begin() as connection:
        connection.execute(text("update alembic_version set version_num='9999'"))
    assert "newer version" in refused(state, url)


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
    with rebuilding(engine) as connection:
        command.downgrade(_config(connection), "base")
        assert MigrationContext.configure(connection).get_current_revision() is None
    with exclusive(state), reopen() as ledger:
        assert ledger.finding_ids() == ()


def test_a_ledger_of_the_first_version_is_brought_up_with_all_its_rows(
    state: Path, url: str | None, reopen: Callable[[], Ledger]
) -> None:
    engine, before = _of_the_first_version(state, url, reopen)
    assert {len(before[table]) for table in ("audits", "manifests", "comparisons", "findings")} == {1, 2}
    with exclusive(state), reopen() as ledger:
        assert ledger.last_manifest(ORIGINAL) is None  # a file that is no manifest, but its row is found
        known = ledger.earlier(RECORDINGS, COPY)
        assert known is not None
        assert known.relation is not None
    after = _rows(engine, before)
    assert after == before
    with engine.connect() as connection:
        context = MigrationContext.configure(connection, opts={"compare_type": True})
        assert compare_metadata(context, METADATA) == []


def test_going_down_drops_what_the_first_version_cannot_hold(
    state: Path, url: str | None, reopen: Callable[[], Ledger]
) -> None:
    with exclusive(state), reopen() as ledger:
        one_night(ledger, 0)
    engine = connect(StateFolder(path=state), url)
    with engine.begin() as connection:
        connection.execute(text("update manifests set audit = null where device = 'heron'"))
        drive = {"device": "shelf-b", "volume": "drive", "path": "", "at": night(0)}
        connection.execute(insert(SHELF_RECORDS).values(**drive, manifest=2, facts={}))
        connection.execute(insert(ESTATE_EVENTS).values(at=night(0), kind="came", subject="volume x", body={}))
    with rebuilding(engine) as connection:
        command.downgrade(_config(connection), "0001")
    kept = _rows(engine, ("audits", "manifests", "comparisons"))
    assert {table: len(rows) for table, rows in kept.items()} == {"audits": 1, "manifests": 1, "comparisons": 0}


def _of_the_first_version(
    state: Path, url: str | None, reopen: Callable[[], Ledger]
) -> tuple[Engine, dict[str, list[Any]]]:
    """Fill a ledger, take it down to the first tables; what then stands in each table."""
    with exclusive(state), reopen() as ledger:
        one_night(ledger, 0)
        judged = a_judged(night(1), datasets={"field-recordings": [a_finding()]})
        ledger.record(AuditRecord(judged=judged, estate_text=ESTATE_TEXT, answers=(a_box_answer(),)))
    engine = connect(StateFolder(path=state), url)
    with rebuilding(engine) as connection:
        command.downgrade(_config(connection), "0001")
        tables = set(connection.dialect.get_table_names(connection)) - {"alembic_version"}
    assert "estate_events" not in tables
    return engine, _rows(engine, sorted(tables))


def _rows(engine: Engine, tables: Iterable[str] | dict[str, list[Any]]) -> dict[str, list[Any]]:
    """All rows of these tables, by the columns that the first version has."""
    with engine.connect() as connection:
        found = {}
        for table in tables:
            rows = connection.execute(select(text("*")).select_from(text(table))).mappings()
            found[table] = sorted(
                repr({name: row[name] for name in row if not name.startswith(("left_out", *ADDED))}) for row in rows
            )
    return found


def test_a_ledger_is_copied_before_it_is_migrated(state: Path) -> None:
    _of_the_first_version(state, None, lambda: open_ledger(state))
    open_ledger(state).close()
    kept = state / "ledger.db.before-0001"
    assert mode(kept) == 0o600
    with sqlite3.connect(kept) as copy:
        assert copy.execute("select finding from findings").fetchall() == [("copies:field-recordings",)]
        assert copy.execute("select version_num from alembic_version").fetchall() == [("0001",)]
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

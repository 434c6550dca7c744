from __future__ import annotations

from collections.abc import Iterator
from datetime import UTC, datetime, timedelta, timezone
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st
from sqlalchemy import Column, Engine, Integer, MetaData, Table, insert, select, text
from sqlalchemy.exc import StatementError

from coverage_audit.ledger.columns import Instant, Json, PathBytes, Words
from coverage_audit.ledger.connecting import connect
from coverage_audit.ledger.folder import StateFolder

THINGS = Table(
    "things",
    MetaData(),
    Column("id", Integer, primary_key=True),
    Column("at", Instant),
    Column("words", Words),
    Column("path", PathBytes),
    Column("json", Json),
)


@pytest.fixture
def engine(state: Path, url: str | None) -> Iterator[Engine]:
    folder = StateFolder(path=state)
    folder.prepare()
    engine = connect(folder, url)
    THINGS.metadata.create_all(engine)
    yield engine
    engine.dispose()


def kept(engine: Engine, column: str, value: object) -> object:
    """What comes back of a value; the same must be found again by asking for it."""
    with engine.begin() as connection:
        connection.execute(THINGS.delete())
        connection.execute(insert(THINGS).values({column: value}))
        found = connection.execute(select(THINGS.c[column]).where(THINGS.c[column] == value)).all()
    assert len(found) == 1
    return found[0][0]


def test_an_instant_comes_back_in_utc_whatever_its_zone(engine: Engine) -> None:
    at = datetime(2026, 3, 29, 3, 0, 0, 1, tzinfo=timezone(timedelta(hours=2)))
    back = kept(engine, "at", at)
    assert back == at
    assert isinstance(back, datetime)
    assert back.tzinfo is UTC


def test_an_instant_without_a_zone_is_refused(engine: Engine) -> None:
    with pytest.raises(StatementError, match="without a zone"):
        kept(engine, "at", datetime(2026, 1, 1))  # noqa: DTZ001 - this is what must be refused


def test_instants_are_ordered_by_the_database_as_in_time(engine: Engine) -> None:
    instants = [datetime(2026, 1, 1, tzinfo=UTC) + timedelta(microseconds=step) for step in (0, 1, 999_999, 1_000_000)]
    with engine.begin() as connection:
        connection.execute(insert(THINGS), [{"at": at} for at in reversed(instants)])
        assert connection.scalars(select(THINGS.c.at).order_by(THINGS.c.at)).all() == instants


@pytest.mark.parametrize("path", ["", "a/b", "caf\u00e9", "\udce9\udcff", "new\nline", "\u202e"])
def test_a_path_comes_back_as_its_bytes(engine: Engine, path: str) -> None:
    assert kept(engine, "path", path) == path


@pytest.mark.parametrize(
    ("words", "back"), [("caf\u00e9", "caf\u00e9"), ("a\x00b", r"a\x00b"), ("\udcff", r"\udcff"), ("'; --", "'; --")]
)
def test_words_are_never_refused(engine: Engine, words: str, back: str) -> None:
    assert kept(engine, "words", words) == back


def test_json_keeps_what_text_cannot(engine: Engine) -> None:
    value = {"name": "\udcff\x00\ud800\u202e", "sizes": [2**70, None, True]}
    with engine.begin() as connection:
        connection.execute(insert(THINGS).values(json=value))
        assert connection.execute(select(THINGS.c.json)).scalar() == value


def test_a_rolled_back_table_is_gone(engine: Engine) -> None:
    with engine.connect() as connection, connection.begin() as transaction:
        connection.execute(text("create table half (x integer)"))
        transaction.rollback()
    with engine.connect() as connection:
        assert "half" not in connection.dialect.get_table_names(connection)


@given(st.text(st.characters()))
def test_any_words_can_be_written(words: str) -> None:
    written = Words().process_bind_param(words, None)  # type: ignore[arg-type]  # the database plays no part
    assert written is not None
    assert "\0" not in written
    assert written.encode("utf-8").decode() == written

"""A real database in use, copied as any other file: its name is there, and what was written last is not."""

from __future__ import annotations

import shutil
import sqlite3
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path

import pytest

from coverage_audit.audits.audit import Audited
from coverage_audit.judgement.verdict import Answer, Finding
from tests.builders.two_places import two_places
from tests.parts.station import Station, dataset_of


@pytest.fixture
def in_use(station: Station) -> Iterator[Path]:
    """A database among the recordings whose last rows stand in its log; its program runs on."""
    station.declare(two_places())
    for number in range(30):
        station.write(f"kestrel/recordings/take-{number}.wav", bytes(100 + number))
    file = station.root / "kestrel/recordings/sheet.db"
    with closing(sqlite3.connect(file, isolation_level=None)) as base:
        base.execute("PRAGMA journal_mode = WAL")
        base.execute("PRAGMA wal_autocheckpoint = 0")
        base.execute("CREATE TABLE sighting (name TEXT)")
        base.execute("PRAGMA wal_checkpoint(TRUNCATE)")
        base.executemany("INSERT INTO sighting VALUES (?)", [("heron",), ("avocet",)])
        yield file


def findings(audited: Audited) -> list[Finding]:
    return [f for f in dataset_of(audited, "field-recordings").findings if f.rule == "open-files"]


def rows_in(file: Path, scratch: Path) -> int:
    copy = shutil.copytree(file.parent, scratch) / file.name
    with closing(sqlite3.connect(copy)) as base:
        return int(base.execute("SELECT count(*) FROM sighting").fetchone()[0])


def test_a_database_that_was_copied_without_its_log_is_named(station: Station, in_use: Path) -> None:
    station.mirror("kestrel/recordings", "heron/recordings", "--exclude=*-wal", "--exclude=*-shm")

    (found,) = findings(station.night())

    assert rows_in(station.root / "heron/recordings/sheet.db", station.root / "opened") == 0, "what was lost with it"
    assert rows_in(in_use, station.root / "whole") == 2
    assert found.answer is Answer.OBSERVATION
    assert "it holds “sheet.db” without its log “sheet.db-wal”" in found.message
    assert "write a dump" in found.mend


def test_a_database_that_was_copied_with_its_log_is_not(station: Station, in_use: Path) -> None:
    station.mirror("kestrel/recordings", "heron/recordings")

    assert not findings(station.night())
    assert rows_in(station.root / "heron/recordings/sheet.db", station.root / "opened") == 2
    assert in_use.exists()

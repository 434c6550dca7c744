"""Another program uses the ledger's database while an audit wants to record: no audit is lost by that."""

from __future__ import annotations

import os
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import timedelta

import pytest

from coverage_audit.ledger import opening
from coverage_audit.wiring import DATABASE
from tests.acceptance.test_a_mirror_that_stopped import ESTATE
from tests.parts.station import Station

SECONDS = float(os.environ.get("LEDGER_IN_USE_SECONDS", "6"))
"""How long it is in use; others than audits wait for a third of it here."""

_SQLITE = "import sqlite3, sys; held = sqlite3.connect(sys.argv[1], isolation_level=None)"
_POSTGRESQL = "import psycopg, sys; held = psycopg.connect(sys.argv[1], autocommit=True)"
_WORDS = {
    ("sqlite", "read"): ("BEGIN", "SELECT count(*) FROM audits"),
    ("sqlite", "write"): ("BEGIN EXCLUSIVE",),
    ("postgresql", "read"): ("BEGIN ISOLATION LEVEL REPEATABLE READ", "SELECT count(*) FROM audits"),
    ("postgresql", "write"): ("BEGIN", "LOCK TABLE audits, findings, waivers IN ACCESS EXCLUSIVE MODE"),
}
_HOLDING = """
for words in sys.argv[2:]:
    held.execute(words)
print("held", flush=True)
sys.stdin.read()
print(held.execute("SELECT count(*) FROM audits").fetchone()[0], flush=True)
held.close()
"""

Use = Callable[[str], "Using"]


class Using:
    """Another process in a transaction of its own."""

    def __init__(self, code: str, words: tuple[str, ...], where: str) -> None:
        command = [sys.executable, "-c", code + _HOLDING, where, *words]
        self._process = subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True)
        assert self._process.stdout is not None
        assert self._process.stdout.readline() == "held\n"

    def end(self) -> int:
        """End the transaction; how many audits it saw to its end."""
        out, _ = self._process.communicate(timeout=30)
        return int(out)

    @contextmanager
    def for_a_while(self) -> Iterator[None]:
        """End it after its time, while the body is at work."""
        ending = subprocess.Popen(["sleep", str(SECONDS)], stdout=self._process.stdin)
        assert self._process.stdin is not None
        self._process.stdin.close()  # the last who holds it is the one that sleeps
        before = time.monotonic()
        yield
        assert time.monotonic() - before > SECONDS - 1, "nothing was waited for"
        ending.wait()
        self._process.wait(30)
        assert self._process.stdout is not None
        self._process.stdout.close()


@pytest.fixture(params=["sqlite", "postgresql"])
def kind(request: pytest.FixtureRequest, station: Station, monkeypatch: pytest.MonkeyPatch) -> str:
    """The kind of the ledger's database; one audit is recorded in it."""
    kind = str(request.param)
    if kind == "postgresql":
        monkeypatch.setenv(DATABASE, request.getfixturevalue("postgresql_url"))
    station.declare(ESTATE)
    for number in range(40):
        station.write(f"kestrel/recordings/take-{number}.wav", bytes(100 + number))
    station.mirror("kestrel/recordings", "heron/recordings")
    assert station.called("audit").status == 0
    monkeypatch.setattr(opening, "WAIT", timedelta(seconds=SECONDS / 3))
    return kind


@pytest.fixture
def use(kind: str, station: Station) -> Use:
    where = os.environ[DATABASE] if kind == "postgresql" else str(station.state / "ledger.db")
    code = _POSTGRESQL if kind == "postgresql" else _SQLITE
    return lambda how: Using(code, _WORDS[kind, how], where)


def test_a_reader_that_reads_for_long_holds_nothing_up(station: Station, kind: str, use: Use) -> None:
    reader = use("read")
    time.sleep(SECONDS / 3)
    for _ in range(3):
        before = time.monotonic()
        assert station.called("audit").status == 0
        assert station.called("status").status in {0, 69}
        assert time.monotonic() - before < 30
    assert reader.end() == 1  # it saw one state of things all the time
    assert station.called("audit").status == 0
    if kind == "sqlite":
        assert not (station.state / "ledger.db-wal").exists()  # what waited for the reader is in its place


def test_an_audit_waits_for_a_writer_that_takes_a_minute(station: Station, use: Use) -> None:
    with use("write").for_a_while():
        ran = station.called("audit")
    assert ran.status == 0, ran.err
    assert use("read").end() == 2


def test_whoever_only_notes_something_waits_for_less_and_says_so(station: Station, use: Use) -> None:
    writer = use("write")
    before = time.monotonic()
    ran = station.called("waive", "enough-copies:field-recordings", "--end")
    assert ran.status == 74, ran.out + ran.err
    assert "in use by another program" in ran.err
    assert time.monotonic() - before < SECONDS
    writer.end()

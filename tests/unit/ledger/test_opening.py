from __future__ import annotations

import os
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest
from sqlalchemy import text

from coverage_audit.errors import LedgerError
from coverage_audit.ledger.connecting import connect
from coverage_audit.ledger.folder import StateFolder
from coverage_audit.ledger.ledger import Ledger
from coverage_audit.ledger.opening import exclusive, open_ledger
from coverage_audit.ledger.record import AuditRecord
from tests.builders.nights import filled, mode, refused
from tests.builders.recorded import ESTATE_TEXT, a_finding, a_judged, night


def test_a_new_ledger_is_for_its_owner_alone(state: Path) -> None:
    before = os.umask(0)
    try:
        with exclusive(state):
            filled(state)
    finally:
        os.umask(before)
    assert [mode(path) for path in (state, state / "manifests", state / "relations", state / "staging")] == [0o700] * 4
    files = [path for path in state.iterdir() if path.is_file()]
    assert {path.name for path in files} >= {"lock", "seed", "ledger.db"}
    assert {mode(path) for path in files} == {0o600}


def test_the_seed_is_made_once(state: Path, url: str | None) -> None:
    first = open_ledger(state, url).seed
    assert len(first) == 16
    assert open_ledger(state, url).seed == first == (state / "seed").read_bytes()


def test_a_file_in_the_folders_place_is_refused(state: Path) -> None:
    state.write_text("")
    assert "is not a folder" in refused(state)


def test_a_folder_below_a_file_is_refused(state: Path) -> None:
    state.write_text("")
    assert "is not a folder" in refused(state / "deeper")


@pytest.fixture
def small_disk(tmp_path: Path) -> Iterator[Path]:
    """A filesystem of a megabyte of its own."""
    place = tmp_path / "disk"
    place.mkdir()
    subprocess.run(["mount", "-t", "tmpfs", "-o", "size=1m", "tmpfs", place], check=True)
    yield place
    subprocess.run(["umount", "-l", place], check=True)


@pytest.mark.root
def test_a_read_only_filesystem_is_said(small_disk: Path) -> None:
    subprocess.run(["mount", "-o", "remount,ro", small_disk], check=True)
    assert "read-only" in refused(small_disk / "state")


@pytest.mark.root
def test_a_full_disk_is_said(small_disk: Path) -> None:
    (small_disk / "state").mkdir()
    subprocess.run(["dd", "if=/dev/zero", f"of={small_disk}/ballast"], check=False, capture_output=True)
    assert "full" in refused(small_disk / "state")


@pytest.mark.root
def test_a_disk_that_fills_while_recording_loses_nothing_that_was_recorded(small_disk: Path) -> None:
    state = small_disk / "state"
    with exclusive(state):
        ledger = filled(state)
        before = ledger.last_finding("copies:field-recordings")
        judged = a_judged(datasets={"field-recordings": [a_finding(message="x" * 2_000_000)]})
        with pytest.raises(LedgerError, match="full"):
            ledger.record(AuditRecord(judged=judged, estate_text=ESTATE_TEXT))
        assert open_ledger(state).last_finding("copies:field-recordings") == before is not None


@pytest.mark.parametrize("damage", [b"", b"not a database at all, but long enough to be taken for one" * 40])
def test_a_ledger_that_is_none_says_what_to_do(state: Path, damage: bytes) -> None:
    with exclusive(state):
        filled(state).close()
        (state / "manifests" / "a.parquet").write_bytes(b"rows")
        (state / "ledger.db").write_bytes(damage)
        (state / "ledger.db-wal").unlink(missing_ok=True)
        said = refused(state)
    assert "put back" in said
    assert (state / "manifests" / "a.parquet").exists()


def test_a_damaged_page_is_found_before_anything_is_swept(state: Path) -> None:
    with exclusive(state):
        filled(state).close()
        content = bytearray((state / "ledger.db").read_bytes())
        for page in range(2 * 4096, len(content) - 4096, 4096):
            content[page : page + 64] = b"\xff" * 64
        (state / "ledger.db").write_bytes(content)
        (state / "manifests" / "a.parquet").write_bytes(b"rows")
        assert "damaged" in refused(state)
    assert (state / "manifests" / "a.parquet").exists()


def test_a_folder_whose_seed_is_another_is_refused(state: Path, url: str | None) -> None:
    filled(state, url).close()
    (state / "seed").write_bytes(b"0123456789abcdef")
    assert "do not belong together" in refused(state, url)
    (state / "seed").unlink()
    assert "do not belong together" in refused(state, url)
    assert not (state / "seed").exists()


def test_manifests_without_their_ledger_are_not_thrown_away(state: Path, url: str | None) -> None:
    StateFolder(path=state).prepare()
    (state / "manifests" / "a.parquet").write_bytes(b"rows")
    with exclusive(state):
        assert "knows nothing" in refused(state, url)
    assert (state / "manifests" / "a.parquet").exists()


def test_an_address_that_names_no_database_is_refused_without_repeating_it(state: Path) -> None:
    for url in ("nonsense pa55", "nosuch://u:pa55@h/x", "postgresql://u:pa55@h:port/x"):
        with pytest.raises(LedgerError) as caught:
            open_ledger(state, url)
        assert "pa55" not in str(caught.value)


def test_a_database_that_does_not_answer_is_said_without_the_password(state: Path) -> None:
    for url in (f"postgresql://auditor:pa55@/x?host={state}", f"postgresql://auditor@/x?host={state}&password=pa55"):
        with pytest.raises(LedgerError) as caught:
            open_ledger(state, url)
        assert "pa55" not in str(caught.value)


@pytest.mark.parametrize("url", ["postgresql"], indirect=True)
def test_a_server_that_refuses_to_write_is_said_and_what_was_recorded_is_read(state: Path, url: str | None) -> None:
    filled(state, url).close()
    record = AuditRecord(judged=a_judged(night(1)), estate_text=ESTATE_TEXT)
    read_only(state, url, "on")
    with exclusive(state), open_ledger(state, url) as ledger:
        with pytest.raises(LedgerError, match="read-only"):
            ledger.record(record)
        assert ledger.finding_ids() == ("copies:field-recordings",)
    read_only(state, url, "off")
    with exclusive(state), open_ledger(state, url) as ledger:
        assert ledger.record(record).audit


def read_only(state: Path, url: str | None, setting: str) -> None:
    engine = connect(StateFolder(path=state), url).execution_options(isolation_level="AUTOCOMMIT")
    with engine.connect() as server:
        server.execute(text("SET default_transaction_read_only = off"))
        server.execute(text(f"ALTER DATABASE {engine.url.database} SET default_transaction_read_only = {setting}"))


@pytest.mark.parametrize("url", ["postgresql"], indirect=True)
def test_a_connection_that_a_server_ends_loses_nothing_and_the_next_one_works(state: Path, url: str | None) -> None:
    with exclusive(state):
        ledger = filled(state, url)
        with pytest.raises(LedgerError, match="terminating connection"):
            _write_and_be_cut_off(ledger, state, url)
        stored = ledger.last_finding("copies:field-recordings")
        assert stored is not None
        assert stored.current


def _write_and_be_cut_off(ledger: Ledger, state: Path, url: str | None) -> None:
    others = "select pg_terminate_backend(pid) from pg_stat_activity where pid <> pg_backend_pid()"
    with ledger._writing() as connection:
        connection.execute(text("update findings set current = false"))
        with connect(StateFolder(path=state), url).connect() as other:
            other.execute(text(f"{others} and datname = current_database()"))
        connection.execute(text("select 1"))


LOOKED_AT = """
import sqlite3, sys
connection = sqlite3.connect(sys.argv[1], timeout=1)
connection.execute("SELECT count(*) FROM state").fetchone()
connection.close()
"""


@pytest.mark.parametrize("url", ["sqlite"], indirect=True)
def test_opened_twice_in_one_process_it_loses_nothing_to_another_that_closes_it(state: Path, url: str | None) -> None:
    # sqlite.org/howtocorrupt.html, 2.2: whoever closes any descriptor of the file cancels all locks of the process on
    # it. Another process that then closes the database takes itself for the last, and removes the log under our feet.
    first = open_ledger(state, url)
    with first._reading() as connection:
        connection.execute(text("SELECT 1"))
        open_ledger(state, url).close()
        subprocess.run([sys.executable, "-c", LOOKED_AT, str(state / "ledger.db")], check=True, timeout=60)
        assert (state / "ledger.db-wal").exists()
    first.close()

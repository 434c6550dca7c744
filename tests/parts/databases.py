"""A real PostgreSQL server for each test process, on a socket in a scratch folder: no port is taken."""

from __future__ import annotations

import os
import shutil
import subprocess
import tempfile
from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager, contextmanager
from pathlib import Path
from uuid import uuid4

import psycopg
import pytest
from sqlalchemy import Engine

from coverage_audit.ledger.connecting import connect
from coverage_audit.ledger.folder import StateFolder
from coverage_audit.ledger.ledger import Ledger
from coverage_audit.ledger.migrating import migrate
from coverage_audit.ledger.opening import exclusive, open_ledger
from tests.parts.tools import lacking


def _programs() -> Path:
    found = sorted(Path("/usr/lib/postgresql").glob("*/bin"))
    on_path = shutil.which("initdb")
    if not found:
        lacking("initdb", "pg_ctl")
    return found[-1] if found else Path(str(on_path)).parent


def _as_owner(*words: str | Path) -> None:
    """Run as an account that is not root: the server refuses root."""
    prefix = ("runuser", "-u", "postgres", "--") if os.geteuid() == 0 else ()
    subprocess.run([*prefix, *map(str, words)], check=True, capture_output=True, timeout=60)


@pytest.fixture(scope="session")
def postgresql_server() -> Iterator[Path]:
    """Start a server; the folder of its socket."""
    programs = _programs()
    folder = Path(tempfile.mkdtemp(prefix="ca-pg-"))
    if os.geteuid() == 0:
        shutil.chown(folder, "postgres", "postgres")
    data = folder / "data"
    _as_owner(programs / "initdb", "-D", data, "-U", "auditor", "-A", "trust", "-E", "UTF8", "--no-sync")
    settings = f"-k {folder} -c listen_addresses= -c fsync=off -c TimeZone=Asia/Kathmandu"
    _as_owner(programs / "pg_ctl", "-D", data, "-l", folder / "log", "-o", settings, "-w", "start")
    yield folder
    _as_owner(programs / "pg_ctl", "-D", data, "-m", "immediate", "-w", "stop")
    shutil.rmtree(folder)


@pytest.fixture
def postgresql_url(postgresql_server: Path) -> str:
    """Make an empty database; its address."""
    name = f"t{uuid4().hex}"
    _as_owner(_programs() / "createdb", "-h", postgresql_server, "-U", "auditor", name)
    return f"postgresql://auditor@/{name}?host={postgresql_server}"


NewLedger = Callable[[], AbstractContextManager[tuple[Ledger, Path]]]


@pytest.fixture(scope="session", params=["sqlite", "postgresql"])
def new_ledger(request: pytest.FixtureRequest) -> NewLedger:
    """Give a way to have an empty ledger of either kind, with its state folder, again and again within one test."""
    server = request.getfixturevalue("postgresql_server") if request.param == "postgresql" else None

    @contextmanager
    def new() -> Iterator[tuple[Ledger, Path]]:
        with tempfile.TemporaryDirectory() as folder, _url(server) as url:
            state = Path(folder)
            with exclusive(state), open_ledger(state, url) as ledger:
                yield ledger, state

    return new


@contextmanager
def _url(server: Path | None) -> Iterator[str | None]:
    """Give the address of an empty database of a server's, copied from one whose tables are made already."""
    if server is None:
        yield None
        return
    whole, name = "tables_made", f"t{uuid4().hex}"
    with psycopg.connect(f"postgresql://auditor@/postgres?host={server}", autocommit=True) as connection:
        if connection.execute("SELECT 1 FROM pg_database WHERE datname = %s", [whole]).fetchone() is None:
            connection.execute(f"CREATE DATABASE {whole}")
            with closing_engine(f"postgresql://auditor@/{whole}?host={server}") as engine:
                migrate(engine)
        connection.execute(f"CREATE DATABASE {name} TEMPLATE {whole}")
        yield f"postgresql://auditor@/{name}?host={server}"
        connection.execute(f"DROP DATABASE {name} WITH (FORCE)")


@contextmanager
def closing_engine(url: str) -> Iterator[Engine]:
    """Give an engine for a database; it is let go of at the end."""
    with tempfile.TemporaryDirectory() as folder:
        engine = connect(StateFolder(path=Path(folder)), url)
        yield engine
        engine.dispose()

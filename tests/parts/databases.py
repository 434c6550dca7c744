"""A real PostgreSQL server for each test process, on a socket in a scratch folder: no port is taken."""

from __future__ import annotations

import os
import shutil
import subprocess
import tempfile
from collections.abc import Iterator
from pathlib import Path
from uuid import uuid4

import pytest

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

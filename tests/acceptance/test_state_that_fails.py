"""The state folder's disk is full or read-only, its ledger is damaged or newer, a part of it is missing.

Each command then says so in one message, with the exit status of an input or output error, concludes nothing, and
leaves everything as it was.
"""

from __future__ import annotations

import hashlib
import os
import random
import sqlite3
import subprocess
from collections.abc import Callable, Iterator, Mapping
from datetime import datetime, timedelta
from pathlib import Path

import pytest

from coverage_audit.wiring import reading, wall_clock
from tests.acceptance.test_notices_delivered import ESTATE
from tests.parts.mailbox import Endpoint
from tests.parts.station import Ran, Station

IO_ERROR = 74  # EX_IOERR of BSD sysexits.h
DEFECT = 70
FINDING = "enough-copies:field-recordings"
UNTIL = (wall_clock() + timedelta(days=30)).date().isoformat()
COMMANDS = (
    ("audit",),
    ("audit", "--json", "--notify"),
    ("explain", FINDING),
    ("waive", "--list"),
    ("waive", FINDING, "--until", UNTIL, "--why", "it is known"),
    ("preflight",),
    ("status",),
    ("survey", "--json"),
)
SQLITE_PAGE = 4096


@pytest.fixture
def lacking(station: Station, endpoint: Endpoint, monkeypatch: pytest.MonkeyPatch) -> Station:
    """A copy that lacks everything."""
    monkeypatch.setenv("PHONE_URL", endpoint.address())
    station.declare(ESTATE)
    for number in range(30):
        station.write(f"kestrel/recordings/take-{number}.wav", bytes(100 + number))
    (station.root / "heron/recordings").mkdir(parents=True)
    return station


def fill(station: Station) -> None:
    """Two audits that said so, a waiver, and an audit under it."""
    for _ in range(2):
        ran = station.called("audit", "--notify")
        assert ran.status == 1, ran.err
    waived = station.called("waive", FINDING, "--until", UNTIL, "--why", "a drive is ordered")
    assert waived.status == 0, waived.err
    assert station.called("audit", "--notify").status == 1


def contents(state: Path) -> dict[str, str]:
    """Every file of the state folder with its digest, save the locks and what SQLite keeps for itself."""
    passing = ("lock", "daemon.lock", "sending", "sending.lock")
    return {
        str(file.relative_to(state)): hashlib.sha256(file.read_bytes()).hexdigest()
        for file in sorted(state.rglob("*"))
        if file.is_file() and file.name not in passing and not file.name.endswith("-shm")
    }


def assert_refused(ran: Ran, *words: str) -> None:
    """One message, and nothing of a conclusion."""
    assert ran.status == IO_ERROR, ran.out + ran.err
    said = [line for line in ran.err.splitlines() if line.startswith("coverage-audit: ")]
    assert len(said) == 1, ran.err
    assert "Traceback" not in ran.err
    for word in words:
        assert word in said[0]
    assert "conforming" not in ran.out.lower()


def no_ledger(state: Path) -> None:
    for file in state.glob("ledger.db*"):
        file.unlink()


def overwritten(state: Path) -> None:
    content = bytearray((state / "ledger.db").read_bytes())
    for page in range(SQLITE_PAGE, len(content), SQLITE_PAGE):
        content[page : page + 512] = b"\xa5" * 512
    (state / "ledger.db").write_bytes(content)


def truncated(state: Path) -> None:
    content = (state / "ledger.db").read_bytes()
    (state / "ledger.db").write_bytes(content[: len(content) // SQLITE_PAGE // 2 * SQLITE_PAGE])


def another_file(state: Path) -> None:
    (state / "ledger.db").write_bytes(b"Take 7 was made in the rain.\n" * 1_000)


def newer(state: Path) -> None:
    with sqlite3.connect(state / "ledger.db") as database:
        database.execute("update alembic_version set version_num = '9999'")
    database.close()


def no_seed(state: Path) -> None:
    (state / "seed").unlink()


def short_seed(state: Path) -> None:
    (state / "seed").write_bytes(b"short")


@pytest.mark.parametrize(
    ("fails", "words"),
    [
        pytest.param(no_ledger, ("knows nothing", "put back"), id="the ledger is gone"),
        pytest.param(overwritten, ("damaged", "put back"), id="the ledger's pages are overwritten"),
        pytest.param(truncated, ("damaged", "put back"), id="the ledger is cut"),
        pytest.param(another_file, ("damaged", "put back"), id="another file is in the ledger's place"),
        pytest.param(newer, ("newer version", "another state folder"), id="a newer version wrote the ledger"),
        pytest.param(no_seed, ("do not belong together", "put back"), id="the seed is missing"),
        pytest.param(short_seed, ("damaged",), id="the seed is damaged"),
    ],
)
def test_every_command_says_what_is_wrong_with_the_ledger_and_touches_nothing(
    lacking: Station, endpoint: Endpoint, fails: Callable[[Path], None], words: tuple[str, ...]
) -> None:
    fill(lacking)
    fails(lacking.state)
    before, told = contents(lacking.state), len(endpoint.bodies)
    for command in COMMANDS:
        assert_refused(lacking.called(*command), *words)
        after = contents(lacking.state)
        if fails is no_ledger:  # an empty one may be begun: it is refused as long as the manifests lie beside it
            after = {name: digest for name, digest in after.items() if not name.startswith("ledger.db")}
            before = {name: digest for name, digest in before.items() if not name.startswith("ledger.db")}
        assert after == before, command
    assert len(endpoint.bodies) == told


def test_bytes_that_changed_anywhere_in_the_ledger_never_make_a_defect_or_a_better_conclusion(lacking: Station) -> None:
    fill(lacking)
    whole = (lacking.state / "ledger.db").read_bytes()
    seed = random.randrange(1 << 32)
    chance = random.Random(seed)
    for round_ in range(8):
        content = bytearray(whole)
        for _ in range(40):
            place = chance.randrange(100, len(content))
            content[place] ^= 1 << chance.randrange(8)
        for file in lacking.state.glob("ledger.db-*"):
            file.unlink()
        (lacking.state / "ledger.db").write_bytes(content)
        for command in COMMANDS:
            ran = lacking.called(*command)
            where = f"seed {seed}, round {round_}, {command}: {ran.out}{ran.err}"
            assert ran.status != DEFECT, where
            assert "Traceback" not in ran.err, where
            if command[0] == "audit":
                assert ran.status in {1, IO_ERROR}, where


@pytest.fixture
def own_disk(lacking: Station) -> Iterator[Path]:
    """The state folder on a filesystem of six megabytes of its own."""
    disk = lacking.root / "disk"
    disk.mkdir()
    subprocess.run(["mount", "-t", "tmpfs", "-o", "size=6m", "tmpfs", disk], check=True)
    lacking.state = disk / "state"
    yield disk
    subprocess.run(["umount", "-l", disk], check=True)


def leave(disk: Path, free: int) -> Path:
    """Fill a disk but for `free` bytes; the file that takes the room."""
    ballast = disk / "ballast"
    ballast.unlink(missing_ok=True)
    room = os.statvfs(disk)
    ballast.write_bytes(bytes(max(room.f_bavail * room.f_frsize - free, 0)))
    return ballast


def kept(station: Station) -> tuple[Mapping[str, datetime], list[str]]:
    """What must not be lost: since when findings are open, and what is waived."""
    with reading(station.state) as ledger:
        return ledger.open_since(), [waiver.name for waiver in ledger.waivers.standing()]


@pytest.mark.root
def test_a_full_disk_is_said_and_nothing_that_was_recorded_is_lost(
    lacking: Station, own_disk: Path, endpoint: Endpoint
) -> None:
    fill(lacking)
    before = kept(lacking)
    refusals = 0
    for free in (0, 4_096, 16_384, 49_152, 81_920, 131_072, 262_144):
        ballast = leave(own_disk, free)
        for command in COMMANDS:
            ran = lacking.called(*command)
            where = f"{free} bytes free, {command}: {ran.out}{ran.err}"
            assert ran.status != DEFECT, where
            if ran.status == IO_ERROR:
                refusals += 1
                assert_refused(ran, "full")
            if command[0] == "audit":
                assert ran.status in {1, IO_ERROR}, where
        ballast.unlink()
        assert kept(lacking) == before
    assert refusals >= len(COMMANDS)  # else the disk was never full
    told = len(endpoint.bodies)
    assert lacking.called("audit", "--notify").status == 1
    assert len(endpoint.bodies) == told  # what had been told was not forgotten


@pytest.mark.root
def test_a_disk_that_is_read_only_is_said(lacking: Station, own_disk: Path) -> None:
    fill(lacking)
    before, untouched = kept(lacking), contents(lacking.state)
    subprocess.run(["mount", "-o", "remount,ro", own_disk], check=True)
    for command in COMMANDS:
        assert_refused(lacking.called(*command), "read-only")
    assert contents(lacking.state) == untouched
    subprocess.run(["mount", "-o", "remount,rw", own_disk], check=True)
    assert kept(lacking) == before
    assert lacking.called("audit").status == 1

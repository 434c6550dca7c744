"""`coverage-audit audit` killed with `kill -9` while it works: the next run works and says the truth."""

from __future__ import annotations

import os
import random
import signal
import subprocess
import sys
import time

import pytest
from sqlalchemy import func, select

from coverage_audit.evidence.store import open_manifest, rows
from coverage_audit.ledger.opening import exclusive, open_ledger
from coverage_audit.ledger.tables import AUDITS
from tests.builders.two_places import two_places
from tests.parts.station import Station

ROUNDS = 16

ESTATE = two_places()


@pytest.fixture
def recordings(station: Station) -> Station:
    station.declare(ESTATE)
    for number in range(300):
        station.write(f"kestrel/recordings/{number % 7}/take-{number}.wav", bytes([number % 251]) * (100 + number))
    station.mirror("kestrel/recordings", "heron/recordings")
    return station


def killed_after(station: Station, seconds: float, *, helpers_too: bool) -> bool:
    """Start an audit and kill it, with its helpers (as a power cut would) or alone; whether it was still at work."""
    words = ["audit", "--estate", str(station.estate_file), "--state", str(station.state)]
    process = subprocess.Popen(
        [sys.executable, "-m", "coverage_audit", *words],
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
        start_new_session=True,
    )
    try:
        process.wait(seconds)
    except subprocess.TimeoutExpired:
        process.kill()
        if helpers_too:
            os.killpg(process.pid, signal.SIGKILL)
        process.wait()
        return True
    assert process.returncode == 0
    return False


def kept_whole(station: Station) -> int:
    """Read every manifest that is kept, as the next audit would; how many audits are recorded."""
    with exclusive(station.state), open_ledger(station.state) as ledger:
        for file in (station.state / "manifests").iterdir():
            manifest = open_manifest(file)
            assert sum(1 for _ in rows(file)) == manifest.census.entries
        with ledger._reading() as connection:
            return connection.execute(select(func.count()).select_from(AUDITS)).scalar_one()


@pytest.mark.slow
@pytest.mark.timeout(600)
def test_a_command_killed_at_any_moment_leaves_the_next_one_whole(recordings: Station) -> None:
    began = time.monotonic()
    assert recordings.command("audit", "--json").object["conclusion"] == "conforming"
    span = time.monotonic() - began
    recorded, killed = kept_whole(recordings), 0
    for turn in range(ROUNDS):
        moment = random.uniform(0, span)
        killed += killed_after(recordings, moment, helpers_too=turn % 2 == 0)
        now = kept_whole(recordings)
        assert recorded <= now <= recorded + 1
        recorded = now
    assert killed
    last = recordings.command("audit", "--json")
    assert last.status == 0, last.err
    assert last.object["conclusion"] == "conforming"
    assert kept_whole(recordings) == recorded + 1
    assert list((recordings.state / "staging").iterdir()) == []

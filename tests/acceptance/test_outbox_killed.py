"""Audits of a small estate that tell by mail and to an endpoint that fails at random, killed with `kill -9`.

In the end every change is told to every address. An event arrives twice only where the kill fell between the
server's acceptance and its record, and then under the same name.
"""

from __future__ import annotations

import contextlib
import itertools
import multiprocessing
import os
import random
import signal
import time
from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass
from multiprocessing.connection import Connection
from multiprocessing.context import ForkServerContext
from pathlib import Path

import pytest
from sqlalchemy import func, select

from coverage_audit.audits.audit import run_audit
from coverage_audit.estate.reader import read_estate
from coverage_audit.ledger.opening import exclusive, open_ledger
from coverage_audit.ledger.tables import AUDITS, DELIVERIES, TRANSITIONS
from coverage_audit.ledger.tables_of_nights import OUTBOX
from coverage_audit.wiring import assembled, tell
from tests.builders.two_places import two_places
from tests.parts.mailbox import Endpoint, Mailbox
from tests.parts.station import Station

ROUNDS = int(os.environ.get("COVERAGE_AUDIT_KILLS", "30"))
LONGEST_S = 5.0
ORPHAN_S = 5.0
"""How long a message that was under way may still take to arrive once its sender is killed."""

NOTICES = """\
notices:
  mail: {url_env: MAIL_URL, send: [failing, recovered]}
  phone: {url_env: PHONE_URL, send: [failing, recovered]}
"""


def one_round(estate_file: Path, state: Path, announce: Connection) -> None:
    """Change the copy so that the audit has news, audit, and tell."""
    estate = read_estate(estate_file)
    copy = estate_file.parent / "heron/recordings/take-1.wav"
    original = estate_file.parent / "kestrel/recordings/take-1.wav"
    if copy.exists():
        copy.unlink()
    else:
        copy.write_bytes(original.read_bytes())
        os.utime(copy, ns=(original.stat().st_mtime_ns,) * 2)
    with assembled(estate, state) as parts:
        audited = run_audit(estate, (), parts)
        announce.send("audited")
        tell(estate, audited, parts.ledger, lambda: "<!DOCTYPE html><title>the page</title>")


def work_until_killed(estate_file: Path, state: Path, environment: dict[str, str], announce: Connection) -> None:
    os.setsid()
    os.environ.update(environment)
    announce.send("begun")
    while True:
        one_round(estate_file, state, announce)


@pytest.fixture(scope="module")
def processes() -> ForkServerContext:
    """Processes that start with everything imported, so that a kill falls into the work."""
    context = multiprocessing.get_context("forkserver")
    context.set_forkserver_preload([__name__, "coverage_audit.evidence.store", "coverage_audit.wiring"])
    return context


@dataclass
class Kills:
    context: ForkServerContext
    station: Station
    environment: dict[str, str]

    def kill_after(self, words: int, seconds: float, *, helpers_too: bool) -> float:
        """Let it say so many words, work so long and kill it, alone or with all that it started; when (monotonic)."""
        hears, says = self.context.Pipe(duplex=False)
        given = (self.station.estate_file, self.station.state, self.environment, says)
        process = self.context.Process(target=work_until_killed, args=given)
        process.start()
        says.close()
        for _ in range(words):
            assert hears.poll(60)
            hears.recv()
        time.sleep(seconds)
        moment = time.monotonic()
        process.kill()
        if helpers_too:
            with contextlib.suppress(ProcessLookupError):  # killed before it led a group of its own, or all were gone
                os.killpg(process.pid or 0, signal.SIGKILL)
        process.join()
        assert process.exitcode == -signal.SIGKILL, "it ended by itself"
        return moment


@pytest.mark.slow
@pytest.mark.timeout(1200)
def test_no_notice_is_lost_and_none_comes_twice_but_under_its_own_name(
    processes: ForkServerContext,
    station: Station,
    mailbox: Mailbox,
    endpoint: Endpoint,
    record_property: Callable[[str, object], None],
) -> None:
    station.declare(two_places() + NOTICES)
    station.write("kestrel/recordings/take-1.wav")
    (station.root / "heron/recordings").mkdir(parents=True)
    environment = {"MAIL_URL": mailbox.address(), "PHONE_URL": endpoint.address()}
    assert station.command("audit", "--notify", environment=environment).status == 1
    endpoint.failing = 0.3
    kills = Kills(processes, station, environment)
    moments = [
        # It has begun, or it has audited and begins to tell.
        kills.kill_after(1 + turn % 2, random.uniform(0, LONGEST_S), helpers_too=turn % 4 < 2)
        for turn in range(ROUNDS)
    ]
    time.sleep(1)
    endpoint.failing = 0
    last = station.command("audit", "--notify", environment=environment)
    assert last.status in {0, 1}, last.err

    events = everything_told(station)
    sent = [*mailbox.taken, *endpoint.taken]
    arrived = Counter(name.strip("<>").split("@")[0] for name, _ in sent)
    assert set(arrived) == set(events)
    again = {name: count for name, count in arrived.items() if count > 1}
    for name in again:
        own = sorted(moment for taken, moment in sent if name in taken)
        for first, second in itertools.pairwise(own):
            assert any(first - ORPHAN_S < kill < second for kill in moments), "sent twice without a kill in between"
    report = f"{ROUNDS} kills, {len(events)} events, {len(again)} arrived more than once: {sorted(again.values())}"
    record_property("kills", report)


def everything_told(station: Station) -> list[str]:
    """Every change that was recorded is marked as told to both addresses, and nothing waits; the events."""
    with exclusive(station.state), open_ledger(station.state) as ledger, ledger._reading() as connection:
        count = connection.execute(select(func.count()).select_from(TRANSITIONS)).scalar_one()
        assert count > 0
        told = connection.execute(
            select(DELIVERIES.c.target, func.count()).group_by(DELIVERIES.c.target).order_by(DELIVERIES.c.target)
        ).all()
        assert [tuple(row) for row in told] == [("mail", count), ("phone", count)]
        assert connection.execute(select(func.count()).where(OUTBOX.c.accepted.is_(None))).scalar_one() == 0
        assert connection.execute(select(func.count()).select_from(AUDITS)).scalar_one() > 1
        return list(connection.scalars(select(OUTBOX.c.event)))

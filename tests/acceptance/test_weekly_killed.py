"""Whoever makes weekly pages is killed with `kill -9` at random: each date's page goes out once to each address."""

from __future__ import annotations

import contextlib
import multiprocessing
import os
import random
import signal
from collections import Counter
from datetime import date
from multiprocessing.connection import Connection
from multiprocessing.context import ForkServerContext
from pathlib import Path

import pytest
from sqlalchemy import select

from coverage_audit.ledger.tables_of_nights import OUTBOX
from tests.builders.weeks import AT_SEVEN, MONDAY, WEEK, Weeks

ROUNDS = int(os.environ.get("COVERAGE_AUDIT_KILLS", "30"))
LONGEST_S = 2.5
WANTING = ("archive", "owner")


def make_until_killed(state: Path, first: int, announce: Connection) -> None:
    """Make one week's page after the other, each twice: what is done is not done again."""
    os.setsid()
    weeks = Weeks(state=state)
    announce.send(first)
    number = first
    while True:
        with weeks.opened() as ledger:
            weeks.now = AT_SEVEN + WEEK * number
            weeks.make(ledger, MONDAY + WEEK * number)
            weeks.make(ledger, MONDAY + WEEK * number)
        announce.send(number + 1)
        number += 1


@pytest.fixture(scope="module")
def processes() -> ForkServerContext:
    """Processes that start with everything imported, so that a kill falls into the work."""
    context = multiprocessing.get_context("forkserver")
    context.set_forkserver_preload([__name__, "tests.builders.weeks", "coverage_audit.wiring"])
    return context


def killed(processes: ForkServerContext, state: Path, first: int, after_s: float) -> int:
    """Start a maker, kill it so long after it began; the week at which it was."""
    ours, theirs = processes.Pipe()
    child = processes.Process(target=make_until_killed, args=(state, first, theirs))
    child.start()
    at: int = ours.recv()
    if not child.is_alive():
        raise AssertionError("the maker ended by itself")
    child.join(after_s)
    with contextlib.suppress(ProcessLookupError):
        os.killpg(child.pid or 0, signal.SIGKILL)
    child.join()
    assert child.exitcode == -signal.SIGKILL
    while ours.poll():
        with contextlib.suppress(EOFError):
            at = ours.recv()
            continue
        break
    return at


@pytest.mark.slow
def test_each_page_goes_out_once_to_each_address_though_its_maker_is_killed(
    processes: ForkServerContext, tmp_path: Path
) -> None:
    weeks = Weeks(state=tmp_path / "state")
    weeks.nights(3)
    dice, at = random.Random(20261127), 0
    for _ in range(ROUNDS):
        at = killed(processes, weeks.state, at, dice.uniform(0.0, LONGEST_S))
    with weeks.opened() as ledger:
        weeks.now = AT_SEVEN + WEEK * at
        weeks.make(ledger, MONDAY + WEEK * at)
        with ledger.past._reading() as connection:
            put_in = Counter(connection.execute(select(OUTBOX.c.target, OUTBOX.c.created)).all())
        records = ledger.summaries.all()
    dates: list[date] = [MONDAY + WEEK * number for number in range(at + 1)]
    assert [record.page_of for record in records] == dates
    assert at > 0
    assert set(put_in.values()) == {1}
    assert Counter(target for target, _ in put_in) == dict.fromkeys(WANTING, len(dates))
    folder = weeks.state / "summaries"
    assert sorted(file.name for file in folder.iterdir()) == [*(record.file for record in records), "index.html"]
    assert all(file.read_text(encoding="utf-8").rstrip().endswith("</html>") for file in folder.iterdir())

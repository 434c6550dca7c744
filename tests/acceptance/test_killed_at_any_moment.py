"""Audits killed with `kill -9` at random instants: nothing recorded is lost, nothing half is ever read."""

from __future__ import annotations

import multiprocessing
import random
import time
from dataclasses import dataclass
from datetime import datetime
from multiprocessing.connection import Connection
from multiprocessing.context import ForkServerContext
from pathlib import Path

import pytest
from sqlalchemy import select

from coverage_audit.evidence.store import open_manifest, rows
from coverage_audit.judgement.verdict import Answer
from coverage_audit.ledger.ledger import Ledger
from coverage_audit.ledger.opening import exclusive, open_ledger
from coverage_audit.ledger.record import AuditRecord, SeenManifest
from coverage_audit.ledger.tables import AUDITS, MANIFESTS
from tests.builders.kept import a_compared, a_staged_file
from tests.builders.manifests import a_manifest, a_row
from tests.builders.recorded import COPY, ESTATE_TEXT, ORIGINAL, RECORDINGS, a_finding, a_judged, night

ROUNDS = 100
LONGEST_S = 0.2
BEGUN = -1
RELATION = b"rows that differ " * 5_000


@dataclass(frozen=True, kw_only=True)
class On:
    """The ledger on which audits are killed."""

    state: Path
    url: str | None


def one_night(ledger: Ledger, number: int) -> None:
    """One audit with real manifests; its finding is open on every second night."""
    at = night(number)
    staging = ledger.staging(at)
    files = [a_row(f"{n:03}.wav".encode(), size=number) for n in range(300)]
    seen = [
        SeenManifest(
            address=address,
            manifest=a_manifest(staging, files, seed=ledger.seed, started=at, address=address),
            trusted=True,
        )
        for address in (ORIGINAL, COPY)
    ]
    original, copy = (one.manifest.file for one in seen)
    answer = Answer.CONFORMITY if number % 2 else Answer.NONCONFORMITY
    ledger.record(
        AuditRecord(
            judged=a_judged(at, {"field-recordings": [a_finding(answer=answer)]}),
            estate_text=ESTATE_TEXT,
            manifests=tuple(seen),
            comparisons=(a_compared(original, copy, a_staged_file(staging, RELATION), at),),
        )
    )
    ledger.prune(at)


def audits(ledger: Ledger) -> list[datetime]:
    with ledger._reading() as connection:
        return list(connection.scalars(select(AUDITS.c.started).order_by(AUDITS.c.id)))


def work_until_killed(state: Path, url: str | None, announce: Connection) -> None:
    """Audit night after night, saying after each which one was recorded (and first that it begins)."""
    announce.send(BEGUN)
    with exclusive(state), open_ledger(state, url) as ledger:
        number = len(audits(ledger))
        while True:
            one_night(ledger, number)
            announce.send(number)
            number += 1


@pytest.fixture(scope="module")
def processes() -> ForkServerContext:
    """Processes that start with everything imported, so that a kill falls into the work."""
    context = multiprocessing.get_context("forkserver")
    context.set_forkserver_preload([__name__, "coverage_audit.evidence.store", "coverage_audit.ledger.opening"])
    return context


def killed_after(context: ForkServerContext, on: On, words: int, seconds: float) -> list[int]:
    """Let audits run until they have said so many words, and a little longer; kill them; return what they said."""
    hears, says = context.Pipe(duplex=False)
    process = context.Process(target=work_until_killed, args=(on.state, on.url, says))
    process.start()
    says.close()
    said = []
    for _ in range(words):
        assert hears.poll(60)
        said.append(hears.recv())
    time.sleep(seconds)
    process.kill()
    process.join()
    assert process.exitcode == -9, "it ended by itself"
    try:
        while True:
            said.append(hears.recv())
    except EOFError:
        return said


def check(on: On) -> int:
    """Open as the next audit does; how many audits are recorded, after everything that is kept has been read."""
    state = on.state
    with exclusive(state), open_ledger(state, on.url) as ledger:
        recorded = audits(ledger)
        assert recorded == [night(number) for number in range(len(recorded))]
        with ledger._reading() as connection:
            named = set(connection.scalars(select(MANIFESTS.c.file).where(MANIFESTS.c.file.is_not(None))))
        present = {file.name for file in (state / "manifests").iterdir()}
        assert named == present
        for name in present:
            manifest = open_manifest(state / "manifests" / name)
            assert sum(1 for _ in rows(manifest.file)) == manifest.census.entries == 300
        assert list((state / "staging").iterdir()) == []
        if recorded:
            check_last(ledger, len(recorded) - 1)
        return len(recorded)


def check_last(ledger: Ledger, number: int) -> None:
    """The last night recorded is there whole: its comparison, its manifests, its finding."""
    known = ledger.earlier(RECORDINGS, COPY)
    assert known is not None
    assert known.at == night(number)
    assert known.relation is not None
    assert known.relation.read_bytes() == RELATION
    newest = ledger.last_manifest(COPY)
    assert newest is not None
    assert newest.file == known.copy_manifest
    stored = ledger.last_finding("copies:field-recordings")
    assert stored is not None
    assert stored.at == night(number)
    assert stored.since == (None if number % 2 else night(number))


@pytest.mark.slow
@pytest.mark.timeout(600)
@pytest.mark.parametrize(("database", "rounds"), [("sqlite", ROUNDS), ("postgresql", ROUNDS // 4)])
def test_an_audit_killed_at_any_moment_loses_nothing_that_was_recorded(
    processes: ForkServerContext, tmp_path: Path, request: pytest.FixtureRequest, database: str, rounds: int
) -> None:
    url = request.getfixturevalue("postgresql_url") if database == "postgresql" else None
    on = On(state=tmp_path / "state", url=url)
    count = 0
    for turn in range(rounds):
        words = 1 + turn % 2  # it has begun to open the ledger, or a first night is recorded
        said = killed_after(processes, on, words, random.uniform(0, LONGEST_S))
        kept = check(on)
        last = max([count - 1, *said])
        assert last + 1 <= kept <= last + 2  # the one more was recorded, and killed before it could say so
        count = kept
    assert count >= rounds // 2

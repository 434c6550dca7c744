"""What places lost and rewrote, as it is kept: the state before a change that stands outlives what is pruned."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import replace
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest
from sqlalchemy import update

from coverage_audit.estate.former import NO_LINEAGE, Lineage
from coverage_audit.estate.model import Address, DatasetId, DeviceId, VolumeId, VolumeKey
from coverage_audit.evidence.difference import Tally
from coverage_audit.evidence.facts import PinnedFact
from coverage_audit.evidence.turnover import FormerFile, MassChange, Shares, Sign, Turnover
from coverage_audit.ledger.ledger import Ledger
from coverage_audit.ledger.opening import exclusive
from coverage_audit.ledger.record import SeenManifest
from coverage_audit.ledger.tables_of_turnover import TURNOVERS
from coverage_audit.ledger.turnover_book import AUDITS_KEPT
from coverage_audit.ledger.turnover_record import TurnoverRecord
from tests.builders.kept import a_seen_manifest
from tests.builders.nights import recorded
from tests.builders.recorded import KESTREL, ORIGINAL, RECORDINGS, night

TURNED = Turnover(
    before_at=night(1),
    at=night(2),
    before=Tally(files=100, bytes=1000),
    now=Tally(files=70, bytes=700),
    gone=Tally(files=30, bytes=300),
    moved=Tally(files=1, bytes=2),
    arrived=Tally(files=3, bytes=4),
    changed=Tally(files=5, bytes=6),
    emptied=Tally(files=2, bytes=3),
    shrunk=9,
    suffixed=Tally(files=20, bytes=200),
    suffix=b".\xff",
    touched=Tally(files=6, bytes=60),
    largest=(FormerFile(path=b"take \xff", size=90, mtime_ns=-5),),
    oldest=(FormerFile(path=b"deed", size=1, mtime_ns=1),),
)
CHANGE = MassChange(since=night(2), seen_at=night(2), turnover=TURNED, signs=(Sign.WENT, Sign.SUFFIXED), grown=night(3))


def kept(ledger: Ledger, number: int, seen: SeenManifest | None = None, **values: Any) -> Mapping[Path, Path]:
    """An audit of a night that saw the original, and what it leaves of its turnover; where the files went."""
    record = TurnoverRecord(dataset=RECORDINGS, place=ORIGINAL, at=night(number), **values)
    return recorded(ledger, number, manifests=(seen,) if seen else (), turnovers=(record,)).moved


def seen_at(ledger: Ledger, number: int) -> SeenManifest:
    return a_seen_manifest(ledger.staging(night(number)), night(number))


def rows_of(ledger: Ledger, number: int) -> Path:
    file = ledger.staging(night(number)) / "fallen.parquet"
    file.write_bytes(b"rows")
    return file


def test_of_a_place_that_was_never_held_against_anything_nothing_is_known(ledger: Ledger) -> None:
    assert ledger.turnovers.last(RECORDINGS, ORIGINAL, NO_LINEAGE) is None


def test_a_change_that_stands_is_given_back_as_the_last_audit_left_it(ledger: Ledger) -> None:
    kept(ledger, 1, seen_at(ledger, 1), shares=Shares(lost_files=0.25, touched=0.5))
    kept(ledger, 2, seen_at(ledger, 2), standing=CHANGE, rows=rows_of(ledger, 2))

    found = ledger.turnovers.last(RECORDINGS, ORIGINAL, NO_LINEAGE)

    assert found is not None
    assert found.standing == replace(CHANGE, readable=False)  # its figures are of then
    assert found.rows is not None
    assert found.rows.read_bytes() == b"rows"
    assert found.history == (Shares(lost_files=0.25, touched=0.5),)


def test_the_state_before_a_change_is_kept_while_that_stands_and_let_go_after(ledger: Ledger) -> None:
    before = seen_at(ledger, 1)
    first = kept(ledger, 1, before)[before.manifest.file]
    rows = rows_of(ledger, 2)
    for number in range(2, 9):
        moved = kept(ledger, number, seen_at(ledger, number), against=first, standing=CHANGE, rows=rows)
        rows = moved[rows]
        ledger.prune(night(number))
    found = ledger.turnovers.last(RECORDINGS, ORIGINAL, NO_LINEAGE)
    assert found is not None
    assert found.rows == rows
    assert first.exists()

    kept(ledger, 9, seen_at(ledger, 9))
    ledger.prune(night(9))

    assert not first.exists()
    assert not rows.exists()
    ended = ledger.turnovers.last(RECORDINGS, ORIGINAL, NO_LINEAGE)
    assert ended is not None
    assert (ended.standing, ended.against, ended.rows) == (None, None, None)


def test_what_is_kept_outlives_a_crash_and_the_sweep_after_it(state: Path, reopen: Callable[[], Ledger]) -> None:
    with exclusive(state), reopen() as ledger:
        kept(ledger, 2, seen_at(ledger, 2), standing=CHANGE, rows=rows_of(ledger, 2))
    with exclusive(state), reopen() as ledger:
        found = ledger.turnovers.last(RECORDINGS, ORIGINAL, NO_LINEAGE)
        assert found is not None
        assert found.rows is not None


def test_it_goes_on_under_another_name_and_at_another_place(ledger: Ledger) -> None:
    kept(ledger, 2, seen_at(ledger, 2), standing=CHANGE, rows=rows_of(ledger, 2))
    place = Address(volume=VolumeKey(device=DeviceId("avocet"), volume=VolumeId("main")), path="tapes")
    name = DatasetId("tapes")
    lineage = Lineage(datasets=((name, RECORDINGS),), moved={(name, place): (ORIGINAL,)})

    found = ledger.turnovers.last(name, place, lineage)

    assert found is not None
    assert found.standing is not None


def test_an_acceptance_counts_from_when_the_change_was_met(ledger: Ledger) -> None:
    facts = (PinnedFact(name="filesystem_uuid", value="other"),)
    ledger.accept(KESTREL, facts, night(1), "Aoife")
    kept(ledger, 2, seen_at(ledger, 2), standing=CHANGE)
    known = ledger.turnovers.last(RECORDINGS, ORIGINAL, NO_LINEAGE)
    assert known is not None
    assert known.accepted is None

    ledger.accept(KESTREL, facts, night(2) + timedelta(hours=1), "Aoife")

    known = ledger.turnovers.last(RECORDINGS, ORIGINAL, NO_LINEAGE)
    assert known is not None
    assert known.accepted == night(2) + timedelta(hours=1)


@pytest.mark.parametrize("audits", [1, AUDITS_KEPT + 5])
def test_the_shares_of_the_last_audits_are_kept_and_no_more(ledger: Ledger, audits: int) -> None:
    for number in range(audits):
        kept(ledger, number, shares=Shares(rewritten=number / 100))

    found = ledger.turnovers.last(RECORDINGS, ORIGINAL, NO_LINEAGE)

    assert found is not None
    expected = [Shares(rewritten=number / 100) for number in range(audits)][-AUDITS_KEPT:]
    assert list(found.history) == expected[::-1]


def test_a_row_of_the_first_version_of_this_table_is_read_as_it_was_meant(ledger: Ledger) -> None:
    kept(ledger, 2, seen_at(ledger, 2), shares=Shares(lost_files=0.25))
    with ledger.turnovers._writing() as connection:
        connection.execute(update(TURNOVERS).values(body={"shares": [0.25, 0, 0], "standing": None}))

    found = ledger.turnovers.last(RECORDINGS, ORIGINAL, NO_LINEAGE)

    assert found is not None
    assert not found.open
    assert found.history == (Shares(lost_files=0.25),)

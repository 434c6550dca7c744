"""Files that programs keep open, found by their names among what differs."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import timedelta
from pathlib import Path

import pytest

from coverage_audit.comparison.compare import match
from coverage_audit.comparison.types import Workspace
from coverage_audit.evidence.difference import Seen, Sight
from coverage_audit.evidence.instants import to_ns
from coverage_audit.evidence.manifest import Row
from tests.builders.manifests import DAY_NS, MEMORY, MTIME, SEED, STARTED, a_folder, a_manifest, a_row

OPEN = {Sight.OPEN, Sight.WRITTEN_MEANWHILE, Sight.WITHOUT_LOG}
TAKES = [a_row(b"take-%d.wav" % number) for number in range(50)]


def seen(folder: Path, original: Sequence[Row], copy: Sequence[Row]) -> dict[Sight, Seen]:
    work = Workspace(folder=folder, memory=MEMORY, seed=SEED)
    mine, theirs = a_manifest(folder, [*TAKES, *original]), a_manifest(folder, [*TAKES, *copy])
    found = match(mine, theirs, leave_out=(), work=work).sights
    return {each.sight: each for each in found if each.sight in OPEN}


@pytest.mark.parametrize("ending", [b"-wal", b"-journal", b"-WAL"])
def test_a_database_that_is_held_without_its_log_is_told(tmp_path: Path, ending: bytes) -> None:
    base = a_row(b"books/sheet.db")

    found = seen(tmp_path, [base, a_row(b"books/sheet.db" + ending)], [base])

    assert found[Sight.WITHOUT_LOG].entries == 1
    assert found[Sight.WITHOUT_LOG].beside == b"books/sheet.db"


def test_a_log_that_is_missing_with_its_database_is_no_such_thing(tmp_path: Path) -> None:
    found = seen(
        tmp_path, [a_row(b"sheet.db"), a_row(b"sheet.db-wal"), a_row(b"field-journal"), a_folder(b"x-wal")], []
    )

    assert Sight.WITHOUT_LOG not in found
    assert found[Sight.OPEN].entries == 2


@pytest.mark.parametrize("name", [b"mail.PST", b"m/all.db", b"disk.qcow2", b"disk.vhdx", b"a.mdf", b"x.sqlite"])
def test_kinds_that_programs_keep_open_are_known_by_their_endings(tmp_path: Path, name: bytes) -> None:
    found = seen(tmp_path, [a_row(name)], [a_row(name, mtime_ns=MTIME - DAY_NS)])

    assert found == {Sight.OPEN: Seen(sight=Sight.OPEN, entries=1, example=name)}


@pytest.mark.parametrize("name", [b"a.wav", b"database", b"db", b"pst/a.txt", b"a.db.txt", b"\xff.wav"])
def test_other_names_are_none(tmp_path: Path, name: bytes) -> None:
    assert not seen(tmp_path, [a_row(name)], [])


def test_one_that_was_written_during_the_listing_is_in_use(tmp_path: Path) -> None:
    meanwhile = to_ns(STARTED + timedelta(minutes=1))

    found = seen(tmp_path, [a_row(b"sheet.db", mtime_ns=meanwhile, ctime_ns=meanwhile)], [a_row(b"sheet.db")])

    assert found[Sight.WRITTEN_MEANWHILE].example == b"sheet.db"


def test_what_is_held_is_not_told(tmp_path: Path) -> None:
    both = [a_row(b"sheet.db"), a_row(b"sheet.db-wal")]

    assert not seen(tmp_path, both, both)

"""Which of two trees holds the newest files first, told by what copying does to times."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest

from coverage_audit.comparison.compare import match
from coverage_audit.comparison.leading import direction
from coverage_audit.comparison.types import Workspace
from coverage_audit.evidence.direction import Direction
from coverage_audit.evidence.instants import to_ns
from coverage_audit.evidence.manifest import Row
from tests.builders.manifests import MEMORY, SEED, STARTED, a_manifest, a_row

HOUR = timedelta(hours=1)
SINCE = STARTED - timedelta(days=1)


def written(name: str, ago: timedelta, *, arrived: timedelta | None = None, **values: Any) -> Row:
    """A file written `ago` before the audit; `arrived`: on a side to which it was copied then."""
    at = to_ns(STARTED - ago)
    return a_row(name.encode(), **{"mtime_ns": at, "ctime_ns": to_ns(STARTED - (arrived or ago)), **values})


def old(count: int = 200) -> list[Row]:
    return [a_row(b"old-%d" % number) for number in range(count)]


def lead(
    folder: Path, original: Sequence[Row], copy: Sequence[Row], origin: dict[str, Any] | None = None
) -> Direction | None:
    work = Workspace(folder=folder, memory=MEMORY, seed=SEED)
    mine = a_manifest(folder, [*old(), *original])
    theirs = a_manifest(folder, [*old(), *copy], **(origin or {}))
    return direction(match(mine, theirs, leave_out=(), work=work), since=SINCE, work=work)


def test_a_job_that_runs_as_declared_brings_each_file_to_the_copy_later(tmp_path: Path) -> None:
    original = [written(f"new-{n}", 9 * HOUR) for n in range(7)]
    copy = [written(f"new-{n}", 9 * HOUR, arrived=2 * HOUR) for n in range(7)]

    found = lead(tmp_path, original, copy)

    assert found is not None
    assert (found.original_first, found.copy_first, found.made_in_original, found.made_in_copy) == (7, 0, 7, 0)


def test_a_job_that_runs_the_other_way_brings_each_file_to_the_original_later(tmp_path: Path) -> None:
    original = [written(f"new-{n}", 9 * HOUR, arrived=2 * HOUR) for n in range(7)]
    copy = [written(f"new-{n}", 9 * HOUR) for n in range(7)]

    found = lead(tmp_path, original, copy)

    assert found is not None
    assert (found.original_first, found.copy_first, found.made_in_original, found.made_in_copy) == (0, 7, 0, 0)


def test_what_the_copy_alone_has_counts_where_it_was_written_there(tmp_path: Path) -> None:
    """A file that was copied and then deleted in the original bears the time of its copying."""
    there = [written(f"there-{n}", 3 * HOUR) for n in range(6)]
    deleted = [written(f"deleted-{n}", 9 * HOUR, arrived=2 * HOUR) for n in range(4)]
    before = [written("long-ago", 40 * HOUR)]
    edited = [written("sheet", 90 * HOUR)], [written("sheet", HOUR, size=101)]

    found = lead(tmp_path, edited[0], [*there, *deleted, *before, *edited[1]])

    assert found is not None
    assert found.made_in_copy == 7
    assert found.example == b"sheet"


def test_clocks_that_differ_are_set_right_before_times_are_compared(tmp_path: Path) -> None:
    behind = timedelta(hours=-3)
    original = [written(f"new-{n}", 4 * HOUR) for n in range(7)]
    copy = [
        written(f"new-{n}", 4 * HOUR, ctime_ns=to_ns(STARTED - 3 * HOUR + behind)) for n in range(7)
    ]  # an hour after, by a clock that is three hours slow

    found = lead(tmp_path, original, copy, {"clock_offset": behind})

    assert found is not None
    assert (found.original_first, found.copy_first) == (7, 0)


@pytest.mark.parametrize(
    "origin", [{"clock_offset": None}, {"lacks": frozenset({"ctime"})}, {"lacks": frozenset({"mtime"})}]
)
def test_without_times_or_clocks_it_is_not_told(tmp_path: Path, origin: dict[str, Any]) -> None:
    assert lead(tmp_path, [], [written("there", HOUR)], origin) is None


def test_minutes_between_two_clocks_decide_nothing(tmp_path: Path) -> None:
    original = [written("new", 3 * HOUR)]
    copy = [written("new", 3 * HOUR, arrived=3 * HOUR - timedelta(minutes=4))]

    found = lead(tmp_path, original, copy)

    assert found is not None
    assert (found.original_first, found.copy_first) == (0, 0)

"""What was touched since a listing and looks as it did then: ctimes tell it, and quiet nights read nothing for it."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest

from coverage_audit.comparison.turnover import turn
from coverage_audit.evidence.difference import Tally
from coverage_audit.evidence.manifest import Kind, Row
from coverage_audit.evidence.store import RowReader
from tests.builders.manifests import STARTED as NOW
from tests.builders.stories import DAY, HOUR, Story, a_file, at

FILES = [a_file(b"work/%04d.ods" % number, 40 * DAY + number * HOUR, size=200) for number in range(300)]


def touched(rows: Iterable[Row], ago: timedelta = HOUR) -> list[Row]:
    return [replace(row, ctime_ns=at(ago)) for row in rows]


def found(
    folder: Path, now: Iterable[Row], *, leave_out: tuple[str, ...] = (), before: Iterable[Row] = FILES, **origin: Any
) -> Tally:
    story = Story(folder=folder)
    former, later = story.manifest(before, NOW - DAY, **origin), story.manifest(now, NOW, **origin)
    return turn(former, later, leave_out=leave_out, judge=lambda _: (), work=story.work).turnover.touched


def test_files_of_the_same_size_and_time_that_bear_another_ctime_are_counted(tmp_path: Path) -> None:
    assert found(tmp_path, [*touched(FILES[:200]), *FILES[200:]]) == Tally(files=200, bytes=40_000)


def test_what_came_went_or_was_rewritten_is_none_of_them(tmp_path: Path) -> None:
    edited = [a_file(row.path, HOUR, size=7) for row in FILES[:100]]
    fresh = [a_file(b"new/%d" % number, HOUR) for number in range(50)]

    assert found(tmp_path, [*edited, *fresh, *touched(FILES[100:150]), *FILES[160:]]) == Tally(files=50, bytes=10_000)


def test_folders_links_and_what_is_left_out_do_not_count(tmp_path: Path) -> None:
    folder = replace(FILES[0], path=b"work", kind=Kind.FOLDER, size=0)
    scratch = [replace(row, path=b"scratch" + row.path[4:]) for row in FILES[:100]]
    before = [folder, *FILES, *scratch]
    now = [*touched([folder]), *touched(FILES[:30]), *FILES[30:], *touched(scratch)]

    assert found(tmp_path, now, before=before, leave_out=("scratch/",)).files == 30


def test_a_clock_that_is_not_known_hides_nothing(tmp_path: Path) -> None:
    assert found(tmp_path, [*touched(FILES[:200]), *FILES[200:]], clock_offset=None).files == 200
    assert found(tmp_path, touched(FILES, 30 * DAY), clock_offset=timedelta(days=-40)).files == 300


def test_where_ctimes_are_not_shown_nothing_is_told(tmp_path: Path) -> None:
    blank = [replace(row, ctime_ns=None) for row in FILES]

    assert found(tmp_path, blank, before=blank, lacks=frozenset({"ctime"})) == Tally()


def test_a_quiet_night_reads_no_row_for_it(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    asked: list[set[str]] = []
    read = RowReader.read

    def watched(self: RowReader, numbers: Any, columns: Any) -> Any:
        asked.append(set(columns))
        return read(self, numbers, columns)

    monkeypatch.setattr(RowReader, "read", watched)
    assert found(tmp_path, FILES) == Tally()
    assert asked
    assert not [columns for columns in asked if {"key_hi", "ctime_ns"} <= columns]


def test_a_file_of_the_future_hides_nothing(tmp_path: Path) -> None:
    ahead = a_file(b"ahead", -400 * DAY)

    assert found(tmp_path, [ahead, *touched(FILES[:200]), *FILES[200:]], before=[ahead, *FILES]).files == 200

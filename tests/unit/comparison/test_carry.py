"""Differences carried over many nights: clean cuts, holes, empty copies."""

from __future__ import annotations

import os
import shutil
from datetime import UTC, datetime
from pathlib import Path

import pytest

from coverage_audit.evidence.difference import CopyComparison, RowVerdict
from coverage_audit.evidence.manifest import Kind, Row
from tests.builders.manifests import STARTED as NOW
from tests.builders.stories import DAY, HOUR, LAST_NIGHT, YEARS, Story, a_file, at, old_files


@pytest.fixture
def story(tmp_path: Path) -> Story:
    return Story(folder=tmp_path)


def eleven_nights(story: Story, *, lost: bytes | None = None, missed: int = 4) -> CopyComparison:
    """The mirror ran last before the first audit; since then a file is edited and one added each day."""
    mirror = [*old_files(), a_file(b"log", 12 * DAY, now=NOW)]
    held = [row for row in mirror if row.path != lost]
    original = list(mirror)
    story.audit(NOW - 11 * DAY, original, mirror)
    for days in range(10, -1, -1):
        now = NOW - days * DAY
        original = [row for row in original if row.path != b"log"]
        original += [a_file(b"log", HOUR, now=now), a_file(b"new/%02d" % days, 2 * HOUR, now=now)]
        if days != missed:
            story.audit(now, original, held)
    return story.seen[-1]


def test_a_mirror_that_stopped_eleven_days_ago_is_a_clean_cut_and_keeps_its_earliest_start(story: Story) -> None:
    seen = eleven_nights(story)

    assert not seen.holds_newer
    assert seen.counting_rows > 0
    assert seen.earliest_start == NOW - 11 * DAY
    assert seen.went_back.files == 0
    assert seen.missing.files == 11
    assert story.rows()[b"log"].earliest_ns == at(11 * DAY)


def test_one_old_file_missing_besides_is_a_hole(story: Story) -> None:
    seen = eleven_nights(story, lost=b"old/03")

    assert seen.holds_newer
    assert seen.went_back.files == 1
    assert story.rows()[b"old/03"].verdict is RowVerdict.COUNTS


def test_of_a_night_that_was_missed_only_the_rows_of_that_night_are_between(story: Story) -> None:
    seen = eleven_nights(story, missed=1)

    rows = story.rows()
    assert rows[b"new/01"].verdict is RowVerdict.BETWEEN
    assert rows[b"new/00"].verdict is RowVerdict.BETWEEN
    assert rows[b"new/03"].verdict is RowVerdict.COUNTS
    assert seen.between_missing_audit == NOW - 2 * DAY


def walked(root: Path) -> list[Row]:
    """A real tree as it is: the clock of the audits is the only fake."""
    rows = []
    for place in sorted(root.rglob("*")):
        status = place.lstat()
        kind = Kind.FOLDER if place.is_dir() else Kind.FILE
        size = 0 if kind is Kind.FOLDER else status.st_size
        path = os.fsencode(place.relative_to(root))
        rows.append(Row(path=path, kind=kind, size=size, mtime_ns=status.st_mtime_ns, ctime_ns=status.st_ctime_ns))
    return rows


@pytest.mark.parametrize("hole", [False, True])
def test_real_trees_of_a_stopped_mirror_with_fake_nights_ahead_of_their_ctimes(tmp_path: Path, hole: bool) -> None:  # noqa: FBT001 - a parameter of the test
    story = Story(folder=tmp_path / "work")
    original, copy = tmp_path / "original", tmp_path / "copy"
    story.folder.mkdir()
    (original / "season").mkdir(parents=True)
    for number in range(20):
        (original / "season" / f"{number}.wav").write_bytes(b"x" * number)
    shutil.copytree(original, copy)
    real = datetime.fromtimestamp((original / "season").stat().st_ctime, UTC)
    story.audit(real + HOUR, walked(original), walked(copy))
    if hole:
        (copy / "season" / "3.wav").unlink()
    for night in range(1, 12):
        now = real + HOUR + night * DAY
        (original / f"night-{night}").write_bytes(b"new")
        (original / "season" / "0.wav").write_bytes(b"y" * night)
        if night != 5:
            story.audit(now, walked(original), walked(copy))

    seen = story.seen[-1]
    assert seen.holds_newer is hole
    assert seen.counting_rows > 0
    assert seen.earliest_start is not None
    assert seen.earliest_start <= real + HOUR


def test_an_empty_copy_of_many_files_is_counted_without_holding_them_as_values(story: Story) -> None:
    many = [a_file(b"many/%06d" % number, YEARS) for number in range(60_000)]
    story.audit(LAST_NIGHT, many, many)

    seen = story.audit(NOW, many, [])

    assert seen.went_back.files == 60_000
    assert len(seen.samples) == 20

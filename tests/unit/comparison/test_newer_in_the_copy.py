"""What is newer in the copy: changed on its own, never seen before, put back in the original, or raced the walk."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta
from pathlib import Path

import pytest

from coverage_audit.errors import CollectionError
from coverage_audit.evidence.collected import SecondLook
from coverage_audit.evidence.difference import RowClass
from coverage_audit.evidence.instants import to_ns
from tests.builders.manifests import STARTED as NOW
from tests.builders.stories import DAY, HOUR, LAST_NIGHT, YEARS, Story, a_file, old_files


@pytest.fixture
def story(tmp_path: Path) -> Story:
    return Story(folder=tmp_path)


def test_a_copy_changed_on_its_own_is_said_and_stays_said(story: Story) -> None:
    sheet, tampered = a_file(b"sheet", YEARS), a_file(b"sheet", 3 * HOUR, now=LAST_NIGHT)
    story.audit(LAST_NIGHT - DAY, [*old_files(), sheet], [*old_files(), sheet])

    found = story.audit(LAST_NIGHT, [*old_files(), sheet], [*old_files(), tampered])
    still = story.audit(NOW, [*old_files(), sheet], [*old_files(), tampered])
    edited = story.audit(NOW + DAY, [*old_files(), a_file(b"sheet", HOUR, now=NOW + DAY)], [*old_files(), tampered])

    assert [seen.own.files for seen in (found, still, edited)] == [1, 1, 1]
    assert story.rows()[b"sheet"].row_class is RowClass.OLDER


def test_a_copy_whose_size_changed_under_the_same_time_was_changed_on_its_own(story: Story) -> None:
    sheet = a_file(b"sheet", YEARS)
    story.audit(LAST_NIGHT, [*old_files(), sheet], [*old_files(), sheet])

    seen = story.audit(NOW, [*old_files(), sheet], [*old_files(), replace(sheet, size=99)])

    assert seen.own.files == 1


def test_a_copy_that_is_mended_is_no_longer_changed_on_its_own(story: Story) -> None:
    sheet = a_file(b"sheet", YEARS)
    story.audit(LAST_NIGHT - DAY, [*old_files(), sheet], [*old_files(), sheet])
    story.audit(LAST_NIGHT, [*old_files(), sheet], [*old_files(), a_file(b"sheet", 30 * HOUR)])

    seen = story.audit(NOW, [*old_files(), sheet], [*old_files(), sheet])

    assert (seen.own.files, seen.counting_rows) == (0, 0)


def test_newer_and_never_seen_before_is_unverified_until_hashed(story: Story) -> None:
    sheet, newer = a_file(b"sheet", YEARS), a_file(b"sheet", DAY)

    first = story.audit(LAST_NIGHT, [*old_files(), sheet], [*old_files(), newer])
    second = story.audit(NOW, [*old_files(), sheet], [*old_files(), newer])

    assert (first.unhashed.files, second.unhashed.files) == (1, 1)


def test_newer_of_another_size_and_never_seen_before_is_an_ordinary_difference(story: Story) -> None:
    sheet, newer = a_file(b"sheet", YEARS), replace(a_file(b"sheet", DAY), size=7)

    seen = story.audit(NOW, [*old_files(), sheet], [*old_files(), newer])

    assert (seen.unhashed.files, seen.counting.files) == (0, 1)


def test_newer_because_the_original_went_back_is_an_ordinary_difference(story: Story) -> None:
    held = a_file(b"sheet", 2 * DAY)
    story.audit(LAST_NIGHT, [*old_files(), held], [*old_files(), held])
    put_back = a_file(b"sheet", YEARS, size=50, ctime=3 * HOUR)

    seen = story.audit(NOW, [*old_files(), put_back], [*old_files(), held])

    assert (seen.own.files, seen.pending.files) == (0, 1)
    assert story.rows()[b"sheet"].earliest_ns == to_ns(LAST_NIGHT)


def test_what_raced_the_walk_is_held_after_all(story: Story) -> None:
    before, after = a_file(b"log", 2 * HOUR), a_file(b"log", timedelta(seconds=1), size=200)
    story.audit(LAST_NIGHT, [*old_files(), before], [*old_files(), before])

    def look(paths: tuple[bytes, ...]) -> tuple[SecondLook, ...]:
        assert paths == (b"log",)
        return (SecondLook(path=b"log", size=200, mtime_ns=after.mtime_ns, ctime_ns=after.ctime_ns, birth_ns=None),)

    seen = story.audit(NOW, [*old_files(), before], [*old_files(), after], look=look)

    assert seen.changed.files == 0
    assert seen.same == seen.original
    assert story.rows() == {}


@pytest.mark.parametrize("shown", [None, 150])
def test_a_second_look_that_shows_nothing_or_another_version_excuses_nothing(story: Story, shown: int | None) -> None:
    before, newer = a_file(b"sheet", YEARS), a_file(b"sheet", HOUR, size=200)
    story.audit(LAST_NIGHT, [*old_files(), before], [*old_files(), before])
    time = None if shown is None else newer.mtime_ns

    def look(paths: tuple[bytes, ...]) -> tuple[SecondLook, ...]:
        return tuple(SecondLook(path=path, size=shown, mtime_ns=time, ctime_ns=time, birth_ns=None) for path in paths)

    seen = story.audit(NOW, [*old_files(), before], [*old_files(), newer], look=look)

    assert seen.own.files == 1


def test_a_box_that_cannot_be_looked_at_again_changes_no_verdict(story: Story) -> None:
    before, newer = a_file(b"sheet", YEARS), a_file(b"sheet", HOUR)
    story.audit(LAST_NIGHT, [*old_files(), before], [*old_files(), before])

    def look(paths: tuple[bytes, ...]) -> tuple[SecondLook, ...]:
        raise CollectionError(f"kestrel is gone: {len(paths)} paths were not looked at")

    assert story.audit(NOW, [*old_files(), before], [*old_files(), newer], look=look).own.files == 1


def test_more_paths_than_one_look_takes_are_never_asked(story: Story, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("coverage_audit.comparison.looking.MOST_LOOKS", 10_000)
    sheets = [a_file(b"sheet/%05d" % number, YEARS) for number in range(10_050)]
    asked: list[int] = []

    def look(paths: tuple[bytes, ...]) -> tuple[SecondLook, ...]:
        asked.append(len(paths))
        return tuple(SecondLook(path=path, size=None, mtime_ns=None, ctime_ns=None, birth_ns=None) for path in paths)

    story.audit(
        NOW,
        sheets,
        [replace(row, mtime_ns=row.mtime_ns + 10**9 * (2 + n % 7)) for n, row in enumerate(sheets)],
        look=look,
    )

    assert all(count <= 10_000 for count in asked)

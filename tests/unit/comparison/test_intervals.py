"""The start of a difference where times lie: ownership changed, trees moved, clocks wrong, names that stick out."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta
from pathlib import Path

import pytest

from coverage_audit.evidence.collected import SecondLook
from coverage_audit.evidence.difference import RowClass
from tests.builders.manifests import STARTED as NOW
from tests.builders.stories import DAY, HOUR, LAST_NIGHT, YEARS, Story, a_file, at, old_files


@pytest.fixture
def story(tmp_path: Path) -> Story:
    return Story(folder=tmp_path)


def test_all_ctimes_new_by_a_chown_at_a_first_audit_make_nothing_pending(story: Story) -> None:
    chowned = [replace(row, ctime_ns=at(HOUR)) for row in old_files()]
    copy = [replace(row, ctime_ns=at(40 * DAY)) for row in old_files()][3:]

    seen = story.audit(NOW, chowned, copy)

    assert (seen.pending_rows, seen.counting.files) == (0, 3)


def test_all_births_new_by_a_migration_at_a_first_audit_make_nothing_pending(story: Story) -> None:
    migrated = [replace(row, ctime_ns=at(HOUR)) for row in old_files()]
    copy = [replace(row, ctime_ns=at(40 * DAY)) for row in old_files()][3:]

    def look(paths: tuple[bytes, ...]) -> tuple[SecondLook, ...]:
        known = {row.path: row for row in migrated}
        return tuple(
            SecondLook(path=path, size=100, mtime_ns=known[path].mtime_ns, ctime_ns=at(HOUR), birth_ns=at(HOUR))
            for path in paths
        )

    assert story.audit(NOW, migrated, copy, look=look).pending_rows == 0


def test_an_old_file_edited_just_now_and_missing_at_a_first_audit_is_not_new(story: Story) -> None:
    edited = a_file(b"log", timedelta(minutes=1))
    idle = [replace(row, ctime_ns=at(40 * DAY)) for row in old_files()]

    assert story.audit(NOW, [*old_files(), edited], idle).pending_rows == 0


def test_a_file_born_today_and_missing_at_a_first_audit_is_pending_although_the_copy_is_idle(story: Story) -> None:
    new = a_file(b"new", 2 * HOUR)
    idle = [replace(row, ctime_ns=at(40 * DAY)) for row in old_files()]

    def look(paths: tuple[bytes, ...]) -> tuple[SecondLook, ...]:
        assert paths == (b"new",)
        return (SecondLook(path=b"new", size=100, mtime_ns=new.mtime_ns, ctime_ns=new.ctime_ns, birth_ns=at(3 * HOUR)),)

    assert story.audit(NOW, [*old_files(), new], idle, look=look).pending.files == 1


def test_times_that_wrapped_or_lie_ahead_are_neither_newer_nor_a_start(story: Story) -> None:
    wrapped, ahead = -(2**63), 2**63 - 1
    odd = [a_file(b"wrapped", YEARS), a_file(b"ahead", YEARS)]
    original = [*old_files(), replace(odd[0], mtime_ns=wrapped), replace(odd[1], mtime_ns=ahead)]

    seen = story.audit(NOW, original, [*old_files(), *odd])

    assert seen.changed.files == 2
    assert {row.row_class for row in story.rows().values()} == {RowClass.OTHER}
    again = story.audit(NOW + DAY, original, [*old_files(), *odd])
    assert again.changed.files == 2


def test_a_held_version_that_claims_to_be_of_tomorrow_gives_no_earliest_start(story: Story) -> None:
    ahead = replace(a_file(b"log", timedelta(0)), mtime_ns=at(-HOUR), ctime_ns=at(30 * DAY))
    edited = replace(a_file(b"log", timedelta(0)), mtime_ns=at(-2 * HOUR), ctime_ns=at(20 * DAY), size=7)
    idle = [replace(row, ctime_ns=at(40 * DAY)) for row in old_files()]

    seen = story.audit(NOW, [*old_files(), edited], [*idle, ahead])

    assert seen.pending_rows == 0
    assert story.rows()[b"log"].earliest_ns is None


def test_a_clock_that_is_not_known_gives_no_birth_and_no_version_time(story: Story) -> None:
    log, held = a_file(b"log", timedelta(minutes=1), size=900), a_file(b"log", 20 * HOUR, size=800)
    original = story.manifest([*old_files(), log], NOW, clock_offset=None)

    story.audit(NOW, original, [*old_files(), held])

    assert story.rows()[b"log"].earliest_ns is None


def test_a_box_whose_clock_runs_ahead_makes_nothing_younger(story: Story) -> None:
    ahead = timedelta(hours=20)
    story.audit(NOW - 2 * DAY, old_files(), old_files())
    new = a_file(b"new", 10 * HOUR)
    original = story.manifest([*old_files(), new], NOW, clock_offset=ahead)

    def look(paths: tuple[bytes, ...]) -> tuple[SecondLook, ...]:
        assert paths == (b"new",)
        return (SecondLook(path=b"new", size=100, mtime_ns=new.mtime_ns, ctime_ns=new.ctime_ns, birth_ns=new.ctime_ns),)

    seen = story.audit(NOW, original, old_files(), look=look)

    assert seen.counting.files == 1
    assert story.rows()[b"new"].latest_ns == at(30 * HOUR)


def test_a_name_that_sticks_out_is_named_beside_the_figure_without_it(story: Story) -> None:
    bad = a_file(b"con:aux?", timedelta(days=15 * 365))
    young = [a_file(b"young/%d" % number, 5 * HOUR) for number in range(3)]
    story.audit(LAST_NIGHT - DAY, [*old_files(), bad], old_files())
    story.audit(LAST_NIGHT, [*old_files(), bad], old_files())

    seen = story.audit(NOW, [*old_files(), bad, *young], old_files())

    assert seen.earliest_start == NOW - timedelta(days=15 * 365)
    assert seen.earliest_start_trimmed == LAST_NIGHT
    assert [sample.path for sample in seen.sticking_out] == [b"con:aux?"]

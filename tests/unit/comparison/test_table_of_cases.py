"""Every row of the design's table "since when is a difference exposed", at the level of manifests.

Source: the table of the design, row by row; ages are those that it names, `max_age` is 26 h.
"""

from __future__ import annotations

from datetime import timedelta
from pathlib import Path

import pytest

from coverage_audit.evidence.collected import SecondLook
from coverage_audit.evidence.difference import CopyComparison, RowVerdict, TakeUp
from coverage_audit.evidence.manifest import Row
from coverage_audit.reckoning.keeping_up import takes_nothing_up
from tests.builders.manifests import STARTED as NOW
from tests.builders.stories import DAY, HOUR, LAST_NIGHT, MAX_AGE, YEARS, Story, a_file, at, old_files

MINUTE = timedelta(minutes=1)


@pytest.fixture
def story(tmp_path: Path) -> Story:
    return Story(folder=tmp_path)


def born(path: bytes, row: Row, ago: timedelta | None) -> SecondLook:
    birth = None if ago is None else at(ago)
    return SecondLook(path=path, size=row.size, mtime_ns=row.mtime_ns, ctime_ns=row.ctime_ns, birth_ns=birth)


def is_stale(seen: CopyComparison) -> bool:
    """A clean cut in time, and older than `max_age`."""
    return seen.counting_rows > 0 and not seen.holds_newer and 2 * seen.missing.files <= seen.original.files


def test_arrived_today_with_an_mtime_of_2023_is_pending(story: Story) -> None:
    story.audit(LAST_NIGHT, old_files(), old_files())
    arrived = a_file(b"arrived", 3 * 365 * DAY, ctime=5 * HOUR)

    seen = story.audit(NOW, [*old_files(), arrived], old_files())

    assert (seen.pending.files, seen.counting_rows, seen.between_rows) == (1, 0, 0)
    assert seen.earliest_start == LAST_NIGHT


def test_a_log_whose_copy_is_of_last_night_is_pending(story: Story) -> None:
    log, held = a_file(b"log", MINUTE, size=900), a_file(b"log", 20 * HOUR, size=800)

    seen = story.audit(NOW, [*old_files(), log], [*old_files(), held])

    assert (seen.pending.files, seen.counting_rows) == (1, 0)
    assert story.rows()[b"log"].earliest_ns == held.mtime_ns


def test_a_log_whose_copy_is_three_weeks_old_is_stale(story: Story) -> None:
    log, held = a_file(b"log", MINUTE, size=900), a_file(b"log", 21 * DAY, size=800)

    seen = story.audit(NOW, [*old_files(), log], [*old_files(), held])

    assert seen.counting.files == 1
    assert is_stale(seen)
    assert seen.earliest_start == NOW - 21 * DAY


def test_a_log_that_went_back_three_weeks_is_stale_at_once(story: Story) -> None:
    of_three_weeks = a_file(b"log", 21 * DAY, size=800)
    last_night = [*old_files(), a_file(b"log", DAY, size=890)]
    story.audit(LAST_NIGHT, last_night, last_night)

    seen = story.audit(NOW, [*old_files(), a_file(b"log", MINUTE, size=900)], [*old_files(), of_three_weeks])

    assert (seen.counting.files, seen.went_back.files) == (1, 1)
    assert is_stale(seen)


def test_edited_today_untouched_since_2021_and_held_last_night_is_pending(story: Story) -> None:
    version = a_file(b"sheet", YEARS)
    story.audit(LAST_NIGHT, [*old_files(), version], [*old_files(), version])

    seen = story.audit(NOW, [*old_files(), a_file(b"sheet", 2 * HOUR)], [*old_files(), version])

    assert (seen.pending.files, seen.counting_rows) == (1, 0)
    assert seen.earliest_start == LAST_NIGHT


def test_edited_today_at_a_first_audit_is_pending_where_the_copy_was_written_to_last_night(story: Story) -> None:
    version = a_file(b"sheet", YEARS, ctime=10 * HOUR)

    seen = story.audit(NOW, [*old_files(), a_file(b"sheet", 2 * HOUR)], [*old_files(), version])

    assert (seen.pending.files, seen.counting_rows) == (1, 0)


def test_edited_today_at_a_first_audit_is_stale_where_the_copy_was_last_written_to_a_month_ago(story: Story) -> None:
    version = a_file(b"sheet", YEARS, ctime=30 * DAY)

    seen = story.audit(NOW, [*old_files(), a_file(b"sheet", 2 * HOUR)], [*old_files(), version])

    assert (seen.pending.files, seen.counting.files) == (0, 1)
    assert is_stale(seen)


def two_nights_on(story: Story, birth: timedelta | None, ctime: timedelta) -> CopyComparison:
    """New since the last audit, which is two nights ago; the copy holds something of ten hours ago."""
    story.audit(NOW - 2 * DAY, old_files(), old_files())
    new, held = a_file(b"new", ctime), a_file(b"held", 10 * HOUR)
    return story.audit(
        NOW,
        [*old_files(), held, new],
        [*old_files(), held],
        look=lambda paths: tuple(born(path, new, birth) for path in paths),
    )


def test_new_since_two_nights_ago_and_born_30_hours_ago_is_incomplete(story: Story) -> None:
    seen = two_nights_on(story, birth=30 * HOUR, ctime=30 * HOUR)

    assert seen.counting.files == 1
    assert seen.holds_newer


def test_new_since_two_nights_ago_and_born_3_hours_ago_is_pending(story: Story) -> None:
    seen = two_nights_on(story, birth=3 * HOUR, ctime=3 * HOUR)

    assert (seen.pending.files, seen.between_rows) == (1, 0)
    assert story.rows()[b"new"].birth_ns == at(3 * HOUR)


def test_new_since_two_nights_ago_without_a_birth_time_names_the_audit_that_is_missing(story: Story) -> None:
    seen = two_nights_on(story, birth=None, ctime=3 * HOUR)

    assert (seen.between.files, seen.pending.files, seen.counting_rows) == (1, 0, 0)
    assert seen.between_missing_audit == NOW - 2 * DAY


def test_a_folder_renamed_today_is_pending_and_held_under_its_old_name(story: Story) -> None:
    inside = [a_file(b"season/%d.wav" % number, YEARS, size=1000 + number) for number in range(8)]
    renamed = [a_file(b"season 2021/%d.wav" % number, YEARS, size=1000 + number) for number in range(8)]
    story.audit(LAST_NIGHT, [*old_files(), *inside], [*old_files(), *inside])

    seen = story.audit(NOW, [*old_files(), *renamed], [*old_files(), *inside])

    assert (seen.pending.files, seen.counting_rows) == (8, 0)
    assert seen.under_old_name.files == 8


def test_missing_for_weeks_and_edited_daily_is_incomplete(story: Story) -> None:
    story.audit(NOW - 36 * DAY, old_files(), old_files())
    for days in (35, 34, 2, 1):
        now = NOW - days * DAY
        story.audit(now, [*old_files(), a_file(b"diary", HOUR, now=now)], old_files())

    newer = a_file(b"held", 2 * HOUR)
    seen = story.audit(NOW, [*old_files(), newer, a_file(b"diary", HOUR)], [*old_files(), newer])

    assert seen.counting.files == 1
    assert seen.holds_newer
    assert seen.earliest_start == NOW - 36 * DAY


def test_a_copy_of_files_that_live_for_20_hours_takes_nothing_up(story: Story) -> None:
    archive = a_file(b"archive", YEARS, size=10**9)
    copy = [*old_files(), archive]
    story.audit(LAST_NIGHT, [*copy, a_file(b"frame-1", 10 * HOUR, now=LAST_NIGHT)], copy)

    seen = story.audit(NOW, [*copy, a_file(b"frame-0", 10 * HOUR)], copy)

    assert (seen.counting.files, seen.pending.files) == (1, 0)
    assert takes_nothing_up(seen.take_up, now=NOW, max_age=MAX_AGE)
    assert seen.take_up == TakeUp(last_progress=None, gone_unheld=1, pending_since=LAST_NIGHT)
    assert story.rows()[b"frame-0"].verdict is RowVerdict.COUNTS

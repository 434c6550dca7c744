"""What a difference means: grace and its end, what was changed on its own, what raced the walk."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta
from pathlib import Path

import pytest

from coverage_audit.evidence.difference import RowVerdict
from tests.builders.manifests import STARTED as NOW
from tests.builders.manifests import a_folder
from tests.builders.stories import DAY, HOUR, LAST_NIGHT, YEARS, Story, a_file, at, old_files


@pytest.fixture
def story(tmp_path: Path) -> Story:
    return Story(folder=tmp_path)


def test_an_empty_copy_of_a_dataset_that_is_one_minute_old_has_no_grace(story: Story) -> None:
    original = [a_folder(b"new"), *(a_file(b"new/%d" % number, timedelta(minutes=1)) for number in range(5))]

    seen = story.audit(NOW, original, [])

    assert (seen.counting.files, seen.pending_rows, seen.between_rows) == (5, 0, 0)
    assert seen.counting_rows == 6
    assert seen.folders_missing == 1


def test_there_is_no_grace_where_more_than_half_of_the_bytes_are_missing(story: Story) -> None:
    large = a_file(b"large", 2 * HOUR, size=10**6)
    story.audit(LAST_NIGHT, old_files(), old_files())

    seen = story.audit(NOW, [*old_files(), large], old_files())

    assert (seen.counting.files, seen.pending_rows) == (1, 0)


def test_older_versions_of_most_files_are_no_empty_copy(story: Story) -> None:
    held = [a_file(b"log/%d" % number, DAY + number * timedelta(minutes=7)) for number in range(9)]
    story.audit(LAST_NIGHT, held, held)

    seen = story.audit(NOW, [a_file(row.path, HOUR) for row in held], held)

    assert (seen.pending.files, seen.counting_rows) == (9, 0)


def test_what_a_copy_that_was_emptied_held_last_night_counts_at_once(story: Story) -> None:
    story.audit(LAST_NIGHT, old_files(), old_files())

    seen = story.audit(NOW, old_files(), [])

    assert seen.went_back == seen.counting == seen.original
    assert story.rows()[b"old/00"].went_back


def test_a_row_that_went_back_goes_on_to_count(story: Story) -> None:
    young = a_file(b"young", 4 * DAY)
    story.audit(NOW - 3 * DAY, [*old_files(), young], [*old_files(), young])
    for days in (2, 1):
        story.audit(NOW - days * DAY, [*old_files(), young], old_files())

    seen = story.audit(NOW, [*old_files(), young], old_files())

    assert seen.went_back.files == 1
    assert story.rows()[b"young"].verdict is RowVerdict.COUNTS


def test_a_copy_that_lost_the_older_version_that_it_held_went_back(story: Story) -> None:
    held = a_file(b"log", 2 * DAY)
    story.audit(LAST_NIGHT, [*old_files(), a_file(b"log", HOUR, now=LAST_NIGHT)], [*old_files(), held])

    seen = story.audit(NOW, [*old_files(), a_file(b"log", HOUR)], old_files())

    assert seen.went_back.files == 1


def test_what_a_first_audit_met_is_pending_for_two_days_at_most(story: Story) -> None:
    story.max_age = timedelta(days=5)
    verdicts = []
    for days in (0, 2, 3):
        now = NOW + days * DAY
        new = replace(a_file(b"new", YEARS), ctime_ns=at(HOUR))
        worked = [replace(row, ctime_ns=at(HOUR, now)) for row in old_files()]
        story.audit(now, [*old_files(), new], worked)
        verdicts.append(story.rows()[b"new"].verdict)

    assert verdicts == [RowVerdict.PENDING, RowVerdict.PENDING, RowVerdict.COUNTS]


def test_exactly_max_age_old_is_still_within_it(story: Story) -> None:
    story.audit(NOW - story.max_age, old_files(), old_files())
    assert story.audit(NOW, [*old_files(), a_file(b"new", HOUR)], old_files()).pending.files == 1

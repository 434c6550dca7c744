"""Places that could not be looked into: what lies there is unknown, and what was known of it is kept."""

from __future__ import annotations

from pathlib import Path

import pytest

from coverage_audit.evidence.instants import to_ns
from tests.builders.manifests import STARTED as NOW
from tests.builders.manifests import a_folder
from tests.builders.stories import DAY, HOUR, LAST_NIGHT, YEARS, Story, a_file, at, old_files


@pytest.fixture
def story(tmp_path: Path) -> Story:
    return Story(folder=tmp_path)


def test_absence_below_a_blind_place_of_the_copy_is_unknown_and_its_start_is_not_lost(story: Story) -> None:
    original = [a_folder(b"dark"), a_file(b"dark/held", YEARS), a_file(b"dark/log", HOUR), *old_files()]
    lagging = [a_folder(b"dark"), a_file(b"dark/held", YEARS), a_file(b"dark/log", 30 * DAY), *old_files()]
    story.audit(LAST_NIGHT - DAY, original, lagging)

    blind = story.audit(LAST_NIGHT, original, [a_folder(b"dark"), *old_files()], blind_copy=[b"dark"])
    assert (blind.unknown.files, blind.went_back.files, blind.counting_rows) == (2, 0, 0)

    seen = story.audit(NOW, original, lagging)
    row = story.rows()[b"dark/log"]
    assert set(story.rows()) == {b"dark/log"}
    assert row.first_compared_ns == to_ns(LAST_NIGHT - DAY)
    assert seen.counting.files == 1


def test_a_file_lost_behind_a_blind_night_of_the_copy_went_back(story: Story) -> None:
    original = [a_folder(b"dark"), a_file(b"dark/held", YEARS), *old_files()]
    story.audit(LAST_NIGHT - DAY, original, original)
    story.audit(LAST_NIGHT, original, [a_folder(b"dark"), *old_files()], blind_copy=[b"dark"])

    seen = story.audit(NOW, original, [a_folder(b"dark"), *old_files()])

    assert seen.went_back.files == 1


def test_a_row_keeps_its_start_through_a_night_in_which_the_original_could_not_be_read(story: Story) -> None:
    dark = [a_folder(b"dark"), a_file(b"dark/lacking", HOUR, now=NOW - 3 * DAY)]
    story.audit(NOW - 4 * DAY, old_files(), old_files())
    story.audit(NOW - 3 * DAY, [*old_files(), *dark], [*old_files(), dark[0]])
    partial = story.audit(LAST_NIGHT, [*old_files(), dark[0]], [*old_files(), dark[0]], blind_original=[b"dark"])
    assert story.rows() == {}
    assert partial.missing.files == 0

    seen = story.audit(NOW, [*old_files(), *dark], [*old_files(), dark[0]])

    assert story.rows()[b"dark/lacking"].earliest_ns == at(4 * DAY)
    assert (seen.counting.files, seen.went_back.files) == (1, 0)


def test_what_is_not_seen_below_a_blind_place_of_the_original_is_not_gone(story: Story) -> None:
    dark = [a_folder(b"dark"), a_file(b"dark/lacking", HOUR, now=LAST_NIGHT)]
    story.audit(LAST_NIGHT, [*old_files(), *dark], [*old_files(), dark[0]])

    seen = story.audit(NOW, [*old_files(), dark[0]], [*old_files(), dark[0]], blind_original=[b"dark"])

    assert seen.take_up.gone_unheld == 0

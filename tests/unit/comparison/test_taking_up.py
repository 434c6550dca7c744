"""Whether a copy takes anything up, so that pending is no excuse for one that has stopped."""

from __future__ import annotations

from datetime import timedelta
from pathlib import Path

import pytest

from coverage_audit.comparison.taking_up import Seen, go_on
from coverage_audit.evidence.difference import CopyComparison, TakeUp
from coverage_audit.evidence.manifest import Row
from coverage_audit.reckoning.keeping_up import takes_nothing_up
from tests.builders.manifests import STARTED as NOW
from tests.builders.stories import DAY, HOUR, LAST_NIGHT, MAX_AGE, Story, a_file, old_files

MINUTES = timedelta(minutes=10)


@pytest.fixture
def story(tmp_path: Path) -> Story:
    return Story(folder=tmp_path)


def short_lived(story: Story, nights: int, *, copy: list[Row] | None = None) -> CopyComparison:
    """Night after night a frame that is gone by the next, and was never held."""
    for night in range(nights, -1, -1):
        now = NOW - night * DAY
        story.audit(now, [*old_files(), a_file(b"frame-%d" % night, 10 * HOUR, now=now)], copy or old_files())
    return story.seen[-1]


def test_files_that_live_for_20_hours_excuse_a_dead_copy_for_one_night_at_most(story: Story) -> None:
    story.audit(NOW - 5 * DAY, old_files(), old_files())
    short_lived(story, 4)

    assert [seen.pending.files for seen in story.seen[1:]] == [1, 0, 0, 0, 0]
    assert [seen.counting.files for seen in story.seen[1:]] == [0, 1, 1, 1, 1]


def test_two_audits_ten_minutes_apart_do_not_end_the_grace(story: Story) -> None:
    story.audit(NOW - MINUTES, [*old_files(), a_file(b"frame-1", HOUR)], old_files())

    seen = story.audit(NOW, [*old_files(), a_file(b"frame-2", timedelta(minutes=5))], old_files())

    assert seen.take_up.gone_unheld == 1
    assert (seen.pending.files, seen.counting_rows) == (1, 0)


def test_two_audits_shortly_after_each_other_do_not_end_the_grace_after_a_long_pause_either(story: Story) -> None:
    story.audit(NOW - 30 * DAY, old_files(), old_files())
    story.audit(NOW - MINUTES, [*old_files(), a_file(b"frame-1", HOUR)], old_files())

    seen = story.audit(NOW, [*old_files(), a_file(b"frame-2", timedelta(minutes=5))], old_files())

    assert seen.counting_rows == 0


def test_a_copy_that_took_up_what_was_pending_keeps_its_grace(story: Story) -> None:
    lacking = a_file(b"report", HOUR, now=LAST_NIGHT)
    story.audit(LAST_NIGHT, [*old_files(), lacking, a_file(b"frame-1", 10 * HOUR, now=LAST_NIGHT)], old_files())

    copy = [*old_files(), lacking]
    seen = story.audit(NOW, [*copy, a_file(b"frame-0", 10 * HOUR)], copy)

    assert seen.take_up == TakeUp(last_progress=NOW, gone_unheld=0, pending_since=NOW)
    assert seen.pending.files == 1


def test_a_copy_that_moved_to_a_later_version_took_something_up(story: Story) -> None:
    first, second = a_file(b"log", 40 * HOUR), a_file(b"log", 16 * HOUR)
    story.audit(LAST_NIGHT, [*old_files(), a_file(b"log", HOUR, now=LAST_NIGHT)], [*old_files(), first])

    seen = story.audit(NOW, [*old_files(), a_file(b"log", HOUR)], [*old_files(), second])

    assert seen.take_up.last_progress == NOW


def test_what_was_taken_up_and_then_left_the_original_was_held(story: Story) -> None:
    lacking = a_file(b"frame", HOUR, now=LAST_NIGHT)
    story.audit(LAST_NIGHT, [*old_files(), lacking], old_files())

    seen = story.audit(NOW, old_files(), [*old_files(), lacking])

    assert (seen.take_up.gone_unheld, seen.take_up.last_progress) == (0, NOW)


def test_an_older_version_that_stays_when_the_original_is_gone_was_not_taken_up(story: Story) -> None:
    held = a_file(b"log", 3 * DAY)
    story.audit(LAST_NIGHT, [*old_files(), a_file(b"log", HOUR, now=LAST_NIGHT)], [*old_files(), held])

    seen = story.audit(NOW, [*old_files(), a_file(b"new", HOUR)], [*old_files(), held])

    assert (seen.take_up.gone_unheld, seen.take_up.last_progress) == (1, None)


def test_a_copy_that_holds_what_came_since_the_last_audit_keeps_up(story: Story) -> None:
    """Its jobs run between the audits: nothing that it takes up is ever seen to be pending."""
    for night in range(3, -1, -1):
        now = NOW - night * DAY
        both = [*old_files(), a_file(b"sheet", 6 * HOUR, ctime=5 * HOUR, now=now)]
        story.audit(now, [*both, a_file(b"frame-%d" % night, HOUR, now=now)], both)

    assert (story.seen[-1].pending.files, story.seen[-1].counting_rows) == (1, 0)


def test_what_is_left_out_from_now_on_was_not_taken_up(story: Story) -> None:
    lacking = a_file(b"cache/x", HOUR, now=LAST_NIGHT)
    story.audit(LAST_NIGHT, [*old_files(), lacking], old_files())

    new = a_file(b"new", HOUR)
    seen = story.audit(NOW, [*old_files(), lacking, new], old_files(), leave_out=["cache/"])

    assert seen.take_up.last_progress is None


def test_progress_begins_a_new_record_and_its_lack_goes_on_with_the_old_one() -> None:
    before = TakeUp(last_progress=NOW - 3 * DAY, gone_unheld=2, pending_since=NOW - 2 * DAY)

    stopped = go_on(before, Seen(gone_unheld=1), now=NOW, progress=False, lacking=True)
    resumed = go_on(before, Seen(taken_up=True), now=NOW, progress=False, lacking=False)

    assert stopped == TakeUp(last_progress=NOW - 3 * DAY, gone_unheld=3, pending_since=NOW - 2 * DAY)
    assert resumed == TakeUp(last_progress=NOW, gone_unheld=0, pending_since=None)


@pytest.mark.parametrize(
    ("record", "stopped"),
    [
        (TakeUp(last_progress=None, gone_unheld=1, pending_since=NOW - 14 * HOUR), True),
        (TakeUp(last_progress=None, gone_unheld=1, pending_since=NOW - 13 * HOUR), False),
        (TakeUp(last_progress=NOW - 26 * HOUR, gone_unheld=1, pending_since=NOW - 20 * HOUR), False),
        (TakeUp(last_progress=NOW - 27 * HOUR, gone_unheld=1, pending_since=NOW - 20 * HOUR), True),
        (TakeUp(last_progress=None, gone_unheld=0, pending_since=NOW - 9 * DAY), False),
        (TakeUp(last_progress=None, gone_unheld=5, pending_since=None), False),
    ],
)
def test_the_grace_ends_after_a_silence_and_never_without_something_gone(record: TakeUp, *, stopped: bool) -> None:
    assert takes_nothing_up(record, now=NOW, max_age=MAX_AGE) is stopped

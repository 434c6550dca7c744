from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo

from coverage_audit.daemon.deciding import (
    AGAIN_AFTER,
    Begin,
    GiveUp,
    NoteBusy,
    Standing,
    Step,
    Wait,
    after_failure,
    next_step,
)
from coverage_audit.daemon.due import Night

AT = time(2, 30)
ZONE = ZoneInfo("Etc/UTC")
FIRST = date(2026, 7, 1)
SECOND = FIRST + timedelta(days=1)
THIRD = FIRST + timedelta(days=2)
BEFORE = frozenset({FIRST - timedelta(days=1)})
NIGHT = datetime(2026, 7, 1, 2, 30, tzinfo=UTC)
DAY = timedelta(days=1)
MINUTE = timedelta(minutes=1)


def step(now: datetime, standing: Standing = Standing(), done: frozenset[date] = BEFORE) -> Step:  # noqa: B008 - frozen
    return next_step(now, done, AT, ZONE, standing)


def test_nothing_is_to_be_done_before_its_time_and_when_it_is_done() -> None:
    assert step(NIGHT - MINUTE) is None
    assert step(NIGHT, done=BEFORE | {FIRST}) is None


def test_a_night_begins_at_its_time_and_not_again_while_it_runs() -> None:
    assert step(NIGHT) == Begin(night=Night(of=FIRST))
    assert step(NIGHT + MINUTE, Standing(running=FIRST)) is None


def test_after_each_failure_the_wait_is_longer_and_after_the_last_the_night_is_given_up() -> None:
    attempts, now = None, NIGHT
    for wait in AGAIN_AFTER:
        attempts = after_failure(attempts, FIRST, "its disk is full", now)
        standing = Standing(attempts=attempts)
        assert step(now + wait - MINUTE, standing) is None
        now += wait
        assert step(now, standing) == Begin(night=Night(of=FIRST))
    standing = Standing(attempts=after_failure(attempts, FIRST, "its disk is full", now))
    assert step(now + MINUTE, standing) == GiveUp(night=Night(of=FIRST), why="its disk is full")
    assert step(now + MINUTE, standing, BEFORE | {FIRST}) is None


def test_the_failures_of_one_night_are_not_counted_against_the_next() -> None:
    attempts = None
    for _ in range(4):
        attempts = after_failure(attempts, FIRST, "why", NIGHT)
    done = BEFORE | {FIRST}
    assert step(NIGHT + DAY, Standing(attempts=attempts), done) == Begin(night=Night(of=SECOND))
    assert after_failure(attempts, SECOND, "why", NIGHT + DAY).failed == 1


def test_a_night_that_failed_and_was_not_tried_again_before_the_next_is_given_up() -> None:
    standing = Standing(attempts=after_failure(None, FIRST, "the machine slept", NIGHT))
    assert step(NIGHT + DAY, standing) == GiveUp(night=Night(of=FIRST), why="the machine slept")
    assert step(NIGHT + DAY, standing, BEFORE | {FIRST}) == Begin(night=Night(of=SECOND))
    assert step(NIGHT + DAY, replace(standing, running=FIRST)) == Wait(night=SECOND)  # it is being tried again


def test_a_clock_that_was_set_back_after_a_failure_makes_nothing_wait() -> None:
    standing = Standing(attempts=after_failure(None, FIRST, "why", NIGHT + 300 * DAY))
    assert step(NIGHT, standing) == Begin(night=Night(of=FIRST))


def test_a_night_that_finds_another_audit_is_tried_at_each_tick_and_noted_when_the_next_is_due() -> None:
    waiting = Standing(running=FIRST).found_busy(FIRST)
    assert step(NIGHT + MINUTE, waiting) == Begin(night=Night(of=FIRST))
    assert step(NIGHT + DAY, waiting) == NoteBusy(night=Night(of=FIRST))
    noted = replace(waiting, waiting=None)
    assert step(NIGHT + DAY, noted, BEFORE | {FIRST}) == Begin(night=Night(of=SECOND))


def test_a_night_that_runs_for_more_than_a_day_lets_the_next_wait() -> None:
    running = Standing(running=FIRST)
    assert step(NIGHT + DAY, running) == Wait(night=SECOND)
    waiting = replace(running, waiting=SECOND)
    assert step(NIGHT + DAY + MINUTE, waiting) == Wait(night=SECOND)
    late = Standing(waiting=SECOND)
    assert step(NIGHT + DAY + 300 * MINUTE, late, BEFORE | {FIRST}) == Begin(night=Night(of=SECOND))


def test_one_that_runs_for_more_than_two_lets_the_next_be_noted_as_busy() -> None:
    waiting = Standing(running=FIRST, waiting=SECOND)
    assert step(NIGHT + 2 * DAY, waiting) == NoteBusy(night=Night(of=SECOND))


def test_nights_that_passed_in_between_are_counted_by_the_one_that_is_noted() -> None:
    busy = Standing(waiting=THIRD)
    assert step(NIGHT + 3 * DAY, busy) == NoteBusy(night=Night(of=THIRD, missed=2, missed_since=FIRST))
    running = replace(busy, running=FIRST)
    assert step(NIGHT + 3 * DAY, running) == NoteBusy(night=Night(of=THIRD, missed=1, missed_since=SECOND))
    failed = Standing(attempts=after_failure(None, THIRD, "why", NIGHT + 2 * DAY))
    assert step(NIGHT + 3 * DAY, failed) == GiveUp(night=Night(of=THIRD, missed=2, missed_since=FIRST), why="why")


def test_a_night_that_was_found_busy_and_runs_now_is_not_noted_as_busy() -> None:
    assert step(NIGHT + DAY, Standing(running=FIRST, waiting=FIRST)) == Wait(night=SECOND)


def test_found_busy_as_the_next_was_due_already_the_earlier_one_is_noted() -> None:
    standing = Standing(running=FIRST, waiting=SECOND).found_busy(FIRST)
    assert step(NIGHT + DAY, standing) == NoteBusy(night=Night(of=FIRST))

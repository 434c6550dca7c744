"""The scheduler of the daemon, run for real with short ticks."""

from __future__ import annotations

import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import UTC, datetime, timedelta
from functools import partial

import pytest

from coverage_audit.daemon.ending import Ending
from coverage_audit.daemon.ticking import CALLING, SENDING, FromNow, Ticking
from coverage_audit.errors import EX_ANOTHER_AUDIT, EX_SOFTWARE, LedgerBusyError
from tests.builders.children import KeptLog
from tests.parts.waiting import wait_for

SHORT = timedelta(milliseconds=50)
NOW = datetime(2026, 7, 1, tzinfo=UTC)


@contextmanager
def running(ticking: Ticking, ending: Ending) -> Iterator[threading.Thread]:
    """Let it tick in a thread; end it in the end."""
    thread = threading.Thread(target=ticking.run)
    thread.start()
    try:
        yield thread
    finally:
        ending.ask(0, "the test is over")
        assert wait_for(ticking.stop, 5) or not thread.is_alive()
        thread.join(5)
        assert not thread.is_alive()


def made(tick: Callable[[], None], every: timedelta = SHORT) -> tuple[Ticking, Ending, KeptLog]:
    ending, log = Ending(), KeptLog()
    return Ticking(tick, every, log, ending), ending, log


def _failed(log: KeptLog, count: int) -> bool:
    return len(log.events("job failed")) == count


def test_it_fires_from_now_on_however_far_the_clock_has_jumped() -> None:
    trigger = FromNow(timedelta(minutes=1))
    assert trigger.get_next_fire_time(None, NOW) == NOW
    assert trigger.get_next_fire_time(datetime(1970, 1, 1, tzinfo=UTC), NOW) == NOW + timedelta(minutes=1)


def test_it_ticks_until_the_end_is_asked_for() -> None:
    ticks: list[int] = []
    ticking, ending, log = made(lambda: ticks.append(1))
    with running(ticking, ending):
        assert wait_for(lambda: len(ticks) > 3, 10)
    count = len(ticks)
    assert log.events() == []
    assert ticking.idle_within(1)
    assert len(ticks) == count


@pytest.mark.parametrize(
    ("error", "status"),
    [
        (ValueError("a defect"), EX_SOFTWARE),
        (LedgerBusyError("another daemon"), EX_ANOTHER_AUDIT),
        (SystemExit(3), EX_SOFTWARE),
        (MemoryError(), EX_SOFTWARE),
    ],
)
def test_a_tick_that_raises_ends_it_with_the_status_of_what_was_raised(error: BaseException, status: int) -> None:
    def tick() -> None:
        raise error

    ticking, ending, log = made(tick)
    thread = threading.Thread(target=ticking.run)
    thread.start()
    thread.join(10)
    assert not thread.is_alive()
    assert ending.asked
    assert ending.status == status
    assert log.events("job failed")[0]["job"] == "ticking"


def test_what_sends_may_fail_for_ever_and_is_logged_each_time() -> None:
    def send() -> None:
        raise ValueError("a poisoned message")

    ticking, ending, log = made(lambda: None)
    with running(ticking, ending):
        for count in range(1, 4):
            assert wait_for(lambda: ticking.submit(SENDING, send), 5)
            assert wait_for(partial(_failed, log, count), 5)
        assert not ending.asked


def test_one_piece_of_work_at_a_time_and_the_ticks_go_on_meanwhile() -> None:
    ticks: list[int] = []
    hold, done = threading.Event(), threading.Event()
    ticking, ending, _ = made(lambda: ticks.append(1))

    def work() -> None:
        hold.wait(20)
        done.set()

    with running(ticking, ending):
        assert wait_for(lambda: ticking.submit(SENDING, work), 5)
        assert not ticking.submit(SENDING, work)
        assert ticking.submit(CALLING, lambda: None)  # another thread is free
        count = len(ticks)
        assert wait_for(lambda: len(ticks) > count + 2, 10)
        assert not ticking.idle_within(0.05)
        hold.set()
        assert done.wait(5)
        assert wait_for(lambda: ticking.submit(SENDING, lambda: None), 5)


def test_a_tick_can_be_asked_for_where_the_next_lies_far_ahead() -> None:
    ticks: list[int] = []
    ticking, ending, _ = made(lambda: ticks.append(1), timedelta(hours=1))
    with running(ticking, ending):
        assert wait_for(lambda: len(ticks) == 1, 5)
        assert ticking.late_by < 0
        ticking.soon()
        assert wait_for(lambda: len(ticks) == 2, 5)


def test_a_tick_that_takes_longer_than_the_time_between_two_is_said_once() -> None:
    ticks: list[int] = []
    hold = threading.Event()

    def tick() -> None:
        ticks.append(1)
        hold.wait(20)

    ticking, ending, log = made(tick)
    with running(ticking, ending):
        assert wait_for(lambda: len(log.events()) == 1, 10)
        assert ticking.in_a_tick
        assert not ticking.tick_over_within(0.3)
        assert len(log.events("a tick takes longer than the time between two")) == 1
        hold.set()
    assert ticking.tick_over_within(1)


def test_after_the_end_was_asked_for_nothing_begins() -> None:
    ticks: list[int] = []
    ticking, ending, _ = made(lambda: ticks.append(1))
    ending.ask(0, "before it began")
    assert not ticking.stop()
    assert not ticking.submit(SENDING, lambda: None)
    with running(ticking, ending):
        pass
    assert ticks == []


def test_the_first_reason_to_end_stands() -> None:
    ending = Ending()
    assert ending.ask(70, "the first")
    assert not ending.ask(0, "the second")
    assert (ending.status, ending.why) == (70, "the first")

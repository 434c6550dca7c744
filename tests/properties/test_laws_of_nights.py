"""Laws of the nights over simulated months, whatever fails, lasts, or happens to the clock.

The daemon is simulated by its own pure decisions; what the world does to it is drawn.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo

from hypothesis import given, settings
from hypothesis import strategies as st

from coverage_audit.daemon.deciding import (
    AGAIN_AFTER,
    Begin,
    GiveUp,
    NoteBusy,
    Standing,
    Wait,
    after_failure,
    next_step,
)
from coverage_audit.daemon.due import Night

ZONES = ["Europe/Berlin", "Etc/UTC", "America/Santiago", "Australia/Lord_Howe", "Asia/Kathmandu"]
TICK = timedelta(minutes=30)
DAYS = 25


@dataclass
class World:
    """What is drawn: how each attempt ends and after how many ticks; and how the machine sleeps."""

    attempts: list[tuple[str, int]]
    sleeps: list[tuple[int, int]]
    at: time
    zone: ZoneInfo
    done: dict[date, str] = field(default_factory=dict)
    begun: list[date] = field(default_factory=list)
    failed: list[date] = field(default_factory=list)
    missed: dict[date, int] = field(default_factory=dict)
    standing: Standing = field(default_factory=Standing)
    ends_at: tuple[str, datetime] | None = None

    def tick(self, now: datetime) -> None:
        running = self.standing.running
        if running is not None and self.ends_at is not None and now >= self.ends_at[1]:
            self._end(running, self.ends_at[0], now)
        while (step := next_step(now, self.done.keys(), self.at, self.zone, self.standing)) is not None:
            match step:
                case Begin(night=night):
                    assert self.standing.running is None, "two at once"
                    assert night.of not in self.done, "one that has ended"
                    self.begun.append(night.of)
                    self.missed[night.of] = night.missed
                    how, ticks = self.attempts.pop() if self.attempts else ("audited", 1)
                    self.ends_at = (how, now + ticks * TICK)
                    self.standing = replace(self.standing, running=night.of)
                    return
                case Wait(night=of):
                    self.standing = replace(self.standing, waiting=of)
                    return
                case GiveUp(night=night):
                    self._note(night, "failed")
                    self.standing = replace(self.standing, attempts=None)
                case NoteBusy(night=night):
                    self._note(night, "busy")
                    self.standing = replace(self.standing, waiting=None)

    def _note(self, night: Night, how: str) -> None:
        assert night.of not in self.done
        self.done[night.of] = how
        self.missed[night.of] = night.missed

    def _end(self, running: date, how: str, now: datetime) -> None:
        if how == "busy":
            self.standing = self.standing.found_busy(running)
        elif how == "failed":
            self.failed.append(running)
            attempts = after_failure(self.standing.attempts, running, "why", now)
            self.standing = replace(self.standing, running=None, attempts=attempts)
        else:
            self.done[running] = "audited"
            waiting = None if self.standing.waiting == running else self.standing.waiting
            self.standing = Standing(waiting=waiting)


@st.composite
def worlds(draw: st.DrawFn) -> World:
    how = st.sampled_from(["audited", "audited", "audited", "failed", "failed", "busy"])
    lasts = st.one_of(st.integers(1, 12), st.integers(1, 3 * 48))
    return World(
        attempts=draw(st.lists(st.tuples(how, lasts), max_size=60)),
        sleeps=draw(st.lists(st.tuples(st.integers(0, DAYS * 48), st.integers(1, 300)), max_size=8)),
        at=draw(st.sampled_from([time(2, 30), time(0, 0), time(23, 59), time(4, 10)])),
        zone=ZoneInfo(draw(st.sampled_from(ZONES))),
    )


@settings(max_examples=40, deadline=None)
@given(worlds(), st.sampled_from([date(2026, 10, 1), date(2027, 3, 1), date(2028, 2, 1)]))
def test_each_local_date_has_one_audit_or_is_said_to_have_none(world: World, begin: date) -> None:
    now = datetime.combine(begin, time(12), UTC)
    for number in range(DAYS * 48):
        now += TICK
        now += sum((ticks * TICK for at, ticks in world.sleeps if at == number), timedelta(0))
        world.tick(now)

    # Each ended once (asserted on the way); between the first and the last all have ended, or are counted as missed.
    ended = sorted(world.done)
    if ended:
        assert len(ended) + sum(world.missed.get(night, 0) for night in ended[1:]) == (ended[-1] - ended[0]).days + 1
    for night in set(world.begun):
        failures = sum(of == night for of in world.failed)
        assert failures <= len(AGAIN_AFTER) + 1


@settings(max_examples=40, deadline=None)
@given(
    st.lists(st.integers(-3 * 480, 3 * 480), min_size=1, max_size=40),
    st.sampled_from(ZONES),
    st.sampled_from([time(2, 30), time(0, 0), time(23, 59)]),
)
def test_no_night_is_audited_twice_however_the_clock_is_set(steps: list[int], zone: str, at: time) -> None:
    world = World(attempts=[], sleeps=[], at=at, zone=ZoneInfo(zone))
    now = datetime(2026, 10, 20, 12, tzinfo=UTC)
    for minutes in steps:
        now += timedelta(minutes=minutes)
        for _ in range(30):
            now += TICK
            world.tick(now)
    audited = [night for night in world.begun if world.done.get(night) == "audited"]
    assert len(audited) == len(set(audited))

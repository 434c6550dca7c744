"""What the daemon does next about its nights, as pure functions: begin one, try again, give up, wait.

A night that fails is tried again after 5 minutes, 30 minutes and 2 hours; a fourth failure gives it up until the next
night is due. A night that cannot begin, because another audit holds the state folder, is tried at each tick until the
next night is due: then it is noted as busy.
"""

from __future__ import annotations

from collections.abc import Set as AbstractSet
from dataclasses import dataclass, replace
from datetime import date, datetime, time, timedelta
from typing import Final
from zoneinfo import ZoneInfo

from coverage_audit.daemon.due import Night, audit_due, night_after

AGAIN_AFTER: Final = (timedelta(minutes=5), timedelta(minutes=30), timedelta(hours=2))
"""How long to wait after the first failure of a night, the second, the third; after the next it is given up."""

LONGEST_NIGHT: Final = timedelta(hours=48)
"""A night's process that runs longer hangs: it is ended, and the night has failed."""


@dataclass(frozen=True, kw_only=True)
class Attempts:
    """What was tried in vain: so many times, last for the reason `why`; not again before `not_before`."""

    of: date
    failed: int
    why: str
    not_before: datetime

    @property
    def used_up(self) -> bool:
        """Whether it is not tried any more."""
        return self.failed > len(AGAIN_AFTER)

    def must_wait(self, now: datetime) -> bool:
        """Whether it is too early for the next try; a clock that was ahead and was set back makes nothing wait."""
        return now < self.not_before <= now + AGAIN_AFTER[-1]


def after_failure(before: Attempts | None, of: date, why: str, now: datetime) -> Attempts:
    """Return the attempts with one more, of the night `of`, that failed at `now`."""
    failed = 1 if before is None or before.of != of else before.failed + 1
    wait = AGAIN_AFTER[min(failed, len(AGAIN_AFTER)) - 1]
    return Attempts(of=of, failed=failed, why=why, not_before=now + wait)


@dataclass(frozen=True, kw_only=True)
class Standing:
    """Where the daemon stands: the night that runs, the one that waits for another audit's end, what failed."""

    running: date | None = None
    waiting: date | None = None
    attempts: Attempts | None = None

    def failed_of(self, done: AbstractSet[date]) -> Attempts | None:
        """Return what was tried in vain and is not being tried now, of a night that has not ended."""
        attempts = self.attempts
        return None if attempts is None or attempts.of in done or attempts.of == self.running else attempts

    def waiting_of(self, done: AbstractSet[date]) -> date | None:
        """Return the night that waits and has not begun (a process that found another audit did not begin it)."""
        return None if self.waiting in done or self.waiting == self.running else self.waiting

    def found_busy(self, night: date) -> Standing:
        """Another audit held the state folder when this night was to begin."""
        waiting = night if self.waiting is None else min(night, self.waiting)
        return replace(self, running=None, waiting=waiting)


@dataclass(frozen=True, kw_only=True)
class Begin:
    """Begin this night's audit."""

    night: Night


@dataclass(frozen=True, kw_only=True)
class GiveUp:
    """The night failed too often, or failed and the next is due: note it, and tell it."""

    night: Night
    why: str


@dataclass(frozen=True, kw_only=True)
class NoteBusy:
    """The night passed while another audit held the state folder: note it, and tell it."""

    night: Night


@dataclass(frozen=True, kw_only=True)
class Wait:
    """The night is due and an earlier one's audit still runs."""

    night: date


Step = Begin | GiveUp | NoteBusy | Wait | None


def next_step(now: datetime, done: AbstractSet[date], at: time, zone: ZoneInfo, standing: Standing) -> Step:
    """Return what is to be done about the nights at `now` (None: nothing). `done` are those that have ended."""
    night = audit_due(now, done, at, zone)
    if night is None or night.of == standing.running:
        return None
    failed, waiting = standing.failed_of(done), standing.waiting_of(done)
    if failed is not None and (failed.of < night.of or failed.used_up):
        return GiveUp(night=night_after(failed.of, done), why=failed.why)
    if waiting is not None and waiting < night.of:
        running = frozenset() if standing.running is None else {standing.running}
        return NoteBusy(night=night_after(waiting, done | running))
    if standing.running is not None:
        return Wait(night=night.of)
    return None if failed is not None and failed.of == night.of and failed.must_wait(now) else Begin(night=night)

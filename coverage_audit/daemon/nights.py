"""The nights as they are done: begun in a process of their own, looked at, tried again, given up, noted.

What is to be done is decided by `deciding`; this does it, and remembers what the ledger could not be told.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import date, datetime
from pathlib import Path

from coverage_audit.daemon import own_words
from coverage_audit.daemon.child import Child, Ended, Process
from coverage_audit.daemon.deciding import (
    LONGEST_NIGHT,
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
from coverage_audit.daemon.errands import Errand, NightErrand
from coverage_audit.daemon.log import Log
from coverage_audit.estate.model import Estate
from coverage_audit.ledger.ledger import Ledger
from coverage_audit.ledger.past_record import NightOutcome, NightRecord
from coverage_audit.notices.telling import Notice, put_notice

Start = Callable[[Errand], Process]


@dataclass(frozen=True, kw_only=True)
class _Ending:
    """How a night ended that had no audit, and what is told of it."""

    night: Night
    at: datetime
    outcome: NightOutcome
    why: str
    notice: Notice

    def record(self) -> NightRecord:
        return NightRecord(
            night=self.night.of,
            started=self.at,
            finished=self.at,
            outcome=self.outcome,
            detail=self.why,
            missed=self.night.missed,
            missed_since=self.night.missed_since,
        )


class Nights:
    """The nights of one daemon, from due to ended. `start` starts the process of a night."""

    def __init__(self, *, file: Path, state: Path, log: Log, start: Start = Child) -> None:
        self._file = file
        self._state = state
        self._log = log
        self._start = start
        self._standing = Standing()
        self._child: Process | None = None
        self._done: frozenset[date] | None = None
        self._unwritten: dict[date, _Ending] = {}
        self._to_note: tuple[date, str] | None = None
        self._said_waiting: date | None = None
        self._probed: date | None = None

    @property
    def running(self) -> date | None:
        """The night whose audit runs."""
        return self._standing.running

    @property
    def unwritten(self) -> NightRecord | None:
        """The newest night that has ended and that the ledger could not be told of."""
        night = max(self._unwritten, default=None)
        return None if night is None else self._unwritten[night].record()

    def look(self, now: datetime) -> bool:
        """Look at the process of a night; say whether it has just ended. Never waits."""
        night = self.running
        if self._child is None or night is None:
            return False
        ended = self._child.look()
        if ended is None and self._child.runs_for > LONGEST_NIGHT.total_seconds():
            self._child.end()
            self._failed(night, f"it ran for more than {LONGEST_NIGHT.total_seconds() / 3600:g} hours", now)
        elif ended is None:
            return False
        else:
            self._conclude(night, ended, now)
        self._child = None
        return True

    def advance(self, estate: Estate, ledger: Ledger, now: datetime) -> None:
        """Do what is to be done now. Raises LedgerError; what it could not be told is told at the next call."""
        self._done = ledger.nights.done()
        self._write(estate, ledger)
        if self._to_note is not None:
            night, why = self._to_note
            ledger.nights.note(night, now, why)
            self._to_note = None
        while (step := self._next(estate, now)) is not None:
            if self._take(step, estate, now):
                return
            self._write(estate, ledger)

    def without_ledger(self, estate: Estate, why: str, now: datetime) -> None:
        """Count what is due and cannot be begun, because the ledger cannot be used any more.

        Where it could not be read since the daemon began nobody knows what is due.
        """
        if self._done is None:
            return
        while (step := self._next(estate, now)) is not None:
            if isinstance(step, Begin):
                self._failed(step.night.of, why, now)
                return
            if self._take(step, estate, now):
                return

    def end(self) -> None:
        """End the process of a night, whole: the same night is audited by the next daemon."""
        if self._child is not None:
            self._log("night cut off", night=str(self.running))
            self._child.end()
            self._child = None

    def _next(self, estate: Estate, now: datetime) -> Step:
        at = estate.schedule.audit
        if at is None:
            return None
        done = (self._done or frozenset()) | self._unwritten.keys()
        return next_step(now, done, at, estate.time_zone, self._standing)

    def _take(self, step: Begin | GiveUp | NoteBusy | Wait, estate: Estate, now: datetime) -> bool:
        """Take a step; say whether it was the last for now."""
        match step:
            case Begin(night=night):
                self._begin(night, estate, now)
            case Wait(night=night):
                self._standing = replace(self._standing, waiting=night)
                self._say_waiting(night)
            case GiveUp(night=night, why=why):
                notice = own_words.given_up(night, why)
                self._unwritten[night.of] = _Ending(
                    night=night, at=now, outcome=NightOutcome.FAILED, why=why, notice=notice
                )
                self._standing = replace(self._standing, attempts=None)
                self._log.trouble("night given up", night=str(night.of), why=why)
                return False
            case NoteBusy(night=night):
                why, notice = "another audit held the state folder until the next night was due", own_words.busy(night)
                self._unwritten[night.of] = _Ending(
                    night=night, at=now, outcome=NightOutcome.BUSY, why=why, notice=notice
                )
                self._standing = replace(self._standing, waiting=None)
                self._log.trouble("night passed while another audit was running", night=str(night.of))
                return False
        return True

    def _begin(self, night: Night, estate: Estate, now: datetime) -> None:
        attempts = self._standing.attempts
        tries = attempts.failed if attempts is not None and attempts.of == night.of else 0
        if night.missed:
            since = None if night.missed_since is None else str(night.missed_since)
            self._log.trouble("nights missed", count=night.missed, since=since)
        try:
            self._child = self._start(NightErrand(state=self._state, file=self._file, text=estate.text, night=night))
        except OSError as error:
            self._failed(night.of, f"its process could not be started: {error.strerror}", now)
            return
        self._standing = replace(self._standing, running=night.of)
        if self._probed != night.of:
            self._log("night begun", night=str(night.of), tries=tries + 1, process=self._child.pid)

    def _conclude(self, night: date, ended: Ended, now: datetime) -> None:
        if ended.found_busy:
            self._standing = self._standing.found_busy(night)
            self._probed = night
            self._say_waiting(night)
        elif ended.failure:
            self._failed(night, ended.failure, now)
        else:
            self._done = (self._done or frozenset()) | {night}
            said = "" if ended.report is None else ended.report.said
            self._standing = Standing(waiting=None if self._standing.waiting == night else self._standing.waiting)
            self._log("night ended", night=str(night), said=said)

    def _failed(self, night: date, why: str, now: datetime) -> None:
        attempts = after_failure(self._standing.attempts, night, why, now)
        self._to_note = (night, why)
        self._standing = replace(self._standing, running=None, attempts=attempts)
        again = None if attempts.used_up else attempts.not_before.isoformat(timespec="seconds")
        self._log.trouble("night failed", night=str(night), times=attempts.failed, why=why, again=again)

    def _say_waiting(self, night: date) -> None:
        if self._said_waiting != night:
            self._said_waiting = night
            self._log.trouble("night waits: another audit is running", night=str(night))

    def _write(self, estate: Estate, ledger: Ledger) -> None:
        """Tell the ledger what has ended, with what is told of it; each is told once, however often this fails."""
        self._done = self._done or frozenset()
        for night, ending in list(self._unwritten.items()):
            if night not in self._done:
                put_notice(estate, ledger.outbox, ending.notice, ending.at)
                ledger.nights.give_up(ending.record())
            del self._unwritten[night]
            self._done |= {night}

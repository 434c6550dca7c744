"""The daemon from its start to its end."""

from __future__ import annotations

import multiprocessing
import os
import sys
from collections.abc import Mapping
from contextlib import ExitStack
from dataclasses import dataclass
from datetime import timedelta
from pathlib import Path
from typing import Final

from coverage_audit.daemon.ending import Ending
from coverage_audit.daemon.log import Log
from coverage_audit.daemon.manager import ServiceManager
from coverage_audit.daemon.nights import Nights
from coverage_audit.daemon.reloading import InForce, first
from coverage_audit.daemon.sending import Sender
from coverage_audit.daemon.serving import Means, Serving
from coverage_audit.daemon.ticking import Ticking
from coverage_audit.daemon.watching import Watch
from coverage_audit.daemon.weekly import Weekly
from coverage_audit.errors import EX_SOFTWARE, LedgerBusyError, LedgerError
from coverage_audit.ledger.folder import speaking_of
from coverage_audit.ledger.lock import Lock
from coverage_audit.ledger.opening import exclusive
from coverage_audit.wiring import Clock, reading, wall_clock

EVERY: Final = timedelta(seconds=60)
"""How often the daemon ticks, where no service manager asks for more."""

_FINISH_S: Final = 4.0
"""Seconds that a message which is under way may take at the end, before it is cut off (it is sent again later)."""


@dataclass(frozen=True, kw_only=True)
class Settings:
    """What the command line gives."""

    file: Path
    state: Path
    every: timedelta = EVERY


def run_daemon(settings: Settings, log: Log, environment: Mapping[str, str], *, clock: Clock = wall_clock) -> int:
    """Work until a signal asks for the end, or something fails for good; return the status to end with.

    Raises LedgerBusyError where another daemon works on the state folder, EstateError where there is no estate to begin
    with. Call it in the main thread. It may end the process itself, where a thread of it cannot be ended.
    """
    ending = Ending()
    watch = Watch(ending, log)
    with ExitStack() as held:
        hold = _Hold(settings.state, held)
        _hold_if_possible(hold, log)
        in_force = _first(settings, log)
        means = Means(
            file=settings.file,
            state=settings.state,
            clock=clock,
            log=log,
            manager=ServiceManager.from_environment(environment),
            nights=Nights(file=settings.file, state=settings.state, log=log),
            weekly=Weekly(file=settings.file, state=settings.state, log=log, started=clock()),
            sender=Sender(
                state=settings.state,
                hold=hold,
                environment=environment,
                clock=clock,
                log=log,
                stopping=lambda: ending.asked,
            ),
            hold=hold,
        )
        serving = Serving(means, in_force)
        every = min(settings.every, means.manager.pet_every or settings.every)
        ticking = Ticking(lambda: serving.tick(ticking.submit), every, log, ending)
        watch.over(ticking, serving.reread)
        log("daemon started", process=os.getpid(), datasets=len(in_force.estate.datasets))
        _tick_until_the_end(ticking, ending, log)
        _end(means, ticking, ending)
    return ending.status


def _end(means: Means, ticking: Ticking, ending: Ending) -> None:
    """End all that was started; where a thread does not come back, the process with it."""
    means.manager.stopping()
    if ticking.tick_over_within(_FINISH_S):
        means.nights.end()
        means.weekly.end()
    finished = _finished(ticking)
    means.log("daemon ended", why=ending.why, status=ending.status)
    if not finished:
        # A thread that never comes back must not hold the process, nor the lock of the daemon.
        sys.stderr.flush()
        os._exit(ending.status)


def _hold_if_possible(hold: _Hold, log: Log) -> None:
    try:
        hold()
    except LedgerBusyError:
        raise
    except LedgerError as error:
        log.trouble("the state folder cannot be used yet", why=str(error))


def _first(settings: Settings, log: Log) -> InForce:
    kept = None
    try:
        with reading(settings.state) as ledger:
            kept = ledger.last_estate()
    except LedgerError as error:
        log.trouble("ledger cannot be used", why=str(error))
    return first(settings.file, kept)


def _tick_until_the_end(ticking: Ticking, ending: Ending, log: Log) -> None:
    try:
        ticking.run()
    except Exception as error:  # noqa: BLE001 - whatever the scheduler dies of, the daemon ends and says so
        ending.ask(EX_SOFTWARE, f"the scheduler died: {type(error).__name__}: {error}")
        log.trouble("the scheduler died", why=f"{type(error).__name__}: {error}")
    ending.ask(EX_SOFTWARE, "the scheduler ended by itself")


def _finished(ticking: Ticking) -> bool:
    """Let what sends finish its message, cut it off where it takes too long; say whether all threads came back."""
    if ticking.idle_within(_FINISH_S):
        return True
    for process in multiprocessing.active_children():
        process.kill()
    return ticking.idle_within(_FINISH_S)


class _Hold:
    """Takes the lock of the daemon as soon as the state folder can be used, and keeps it.

    Each call makes sure that it is still the same folder. Raises LedgerError where it is not: where its disk was taken
    away, a new and empty ledger in the place where it was mounted would know nothing, and say that all is as it was.
    """

    def __init__(self, state: Path, held: ExitStack) -> None:
        self._state = state
        self._held = held
        self._has: tuple[int, int] | None = None

    def __call__(self) -> None:
        if self._has is None:
            self._held.enter_context(exclusive(self._state, Lock.DAEMON))
            self._has = self._folder()
        if self._folder() != self._has:
            raise LedgerError(
                f"the state folder {self._state} is not the one that the daemon began with (was its disk unmounted?): "
                "put it back, or start the daemon again"
            )

    def _folder(self) -> tuple[int, int]:
        with speaking_of(self._state):
            found = self._state.stat()
        return found.st_dev, found.st_ino

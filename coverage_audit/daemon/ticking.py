"""The scheduler: one tick job, and single pieces of work in threads of their own. What is due is decided elsewhere.

It runs in the main thread: when it dies, so does the process, and whoever supervises it starts it again.
"""

from __future__ import annotations

import logging
import threading
import time
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from typing import Any, Final

from apscheduler.events import (
    EVENT_JOB_ERROR,
    EVENT_JOB_MAX_INSTANCES,
    EVENT_JOB_MISSED,
    JobEvent,
    JobExecutionEvent,
)
from apscheduler.executors.pool import ThreadPoolExecutor
from apscheduler.jobstores.base import JobLookupError
from apscheduler.jobstores.memory import MemoryJobStore
from apscheduler.schedulers import SchedulerNotRunningError
from apscheduler.schedulers.blocking import BlockingScheduler
from apscheduler.triggers.base import BaseTrigger

from coverage_audit.daemon.ending import Ending
from coverage_audit.daemon.log import Log
from coverage_audit.errors import EX_SOFTWARE, CoverageAuditError

SENDING: Final = "sending"
CALLING: Final = "calling"
_TICKING: Final = "ticking"


class FromNow(BaseTrigger):  # type: ignore[misc]  # the library ships no types
    """Fires each `every` from the present on, never from the last time.

    The library's own interval would make up for every tick that a clock's jump has passed over: a machine that starts
    in 1970 and is set right would count thirty million of them.
    """

    def __init__(self, every: timedelta) -> None:
        self._every = every

    def get_next_fire_time(self, previous_fire_time: datetime | None, now: datetime) -> datetime:
        """Return when to fire next, the first time at once."""
        return now if previous_fire_time is None else now + self._every


class Ticking:
    """Ticks each `every`, in a thread of its own, until the end is asked for. A tick that raises ends the daemon."""

    def __init__(self, tick: Callable[[], None], every: timedelta, log: Log, ending: Ending) -> None:
        self._tick = tick
        self._every = every
        self._log = log
        self._ending = ending
        self._busy: set[str] = set()
        self._changed = threading.Condition()
        self._said_late = False
        self.last = time.monotonic()
        # The library says each run at level INFO; what matters of it comes through the listeners.
        logging.getLogger("apscheduler").setLevel(logging.CRITICAL)
        self._scheduler: Any = BlockingScheduler(
            jobstores={"default": MemoryJobStore()},
            executors={name: ThreadPoolExecutor(1) for name in (_TICKING, SENDING, CALLING)},
            job_defaults={"coalesce": True, "max_instances": 1, "misfire_grace_time": None},
            timezone=UTC,
        )
        self._scheduler.add_listener(self._erred, EVENT_JOB_ERROR)
        self._scheduler.add_listener(self._passed_over, EVENT_JOB_MISSED | EVENT_JOB_MAX_INSTANCES)
        self._scheduler.add_job(self._one_tick, FromNow(every), id=_TICKING, executor=_TICKING)

    def idle_within(self, seconds: float) -> bool:
        """Wait until nothing runs in any of its threads; False where something still does."""
        with self._changed:
            return self._changed.wait_for(lambda: not self._busy, seconds)

    def tick_over_within(self, seconds: float) -> bool:
        """Wait until the tick that is under way is over; once the end is asked for no other begins."""
        with self._changed:
            return self._changed.wait_for(lambda: not self.in_a_tick, seconds)

    @property
    def in_a_tick(self) -> bool:
        """Whether a tick is under way."""
        return _TICKING in self._busy

    @property
    def late_by(self) -> float:
        """Seconds by which the next tick is late (negative: it is not); they stand still while the machine sleeps."""
        return time.monotonic() - self.last - self._every.total_seconds()

    def run(self) -> None:
        """Tick until the end is asked for. Whatever kills the scheduler before leaves this call."""
        try:
            self._scheduler.start()
        except Exception:
            # Shut down while it hands out jobs, it misses its own.
            if not self._ending.asked:
                raise

    def soon(self) -> None:
        """Tick now: the clock was set back, and the next tick lies where it was; or somebody asks for it."""
        if not self._ending.asked:
            try:
                self._scheduler.modify_job(_TICKING, next_run_time=datetime.now(UTC))  # noqa: TID251 - the library's clock
            except JobLookupError:
                return

    def submit(self, executor: str, work: Callable[[], None]) -> bool:
        """Let work be done in an executor; False where it still does the last."""
        with self._changed:
            if executor in self._busy or self._ending.asked:
                return False
            self._busy.add(executor)
        self._scheduler.add_job(self._do, args=(executor, work), id=executor, executor=executor, replace_existing=True)
        return True

    def stop(self) -> bool:
        """Let `run` return; False where it does not run yet."""
        try:
            self._scheduler.shutdown(wait=False)
        except SchedulerNotRunningError:
            return False
        return True

    def _one_tick(self) -> None:
        if self._begins():
            self._do(_TICKING, self._tick)
            self.last = time.monotonic()
            self._said_late = False

    def _begins(self) -> bool:
        with self._changed:
            if self._ending.asked:
                return False
            self._busy.add(_TICKING)
            return True

    def _do(self, executor: str, work: Callable[[], None]) -> None:
        try:
            work()
        finally:
            with self._changed:
                self._busy.discard(executor)
                self._changed.notify_all()

    def _erred(self, event: JobExecutionEvent) -> None:
        error = event.exception
        said = str(error) if isinstance(error, CoverageAuditError) else f"{type(error).__name__}: {error}"
        self._log.trouble("job failed", job=event.job_id, why=said)
        # What sends or calls may fail on one message for ever: that must not end the nights.
        if event.job_id == _TICKING or not isinstance(error, Exception):
            status = error.exit_status if isinstance(error, CoverageAuditError) else EX_SOFTWARE
            self._ending.ask(status, f"the {event.job_id} job failed: {said}")
            self.stop()

    def _passed_over(self, event: JobEvent) -> None:
        if not self._said_late:
            self._said_late = True
            what = "was missed" if event.code == EVENT_JOB_MISSED else "takes longer than the time between two"
            self._log.trouble(f"a tick {what}", job=event.job_id)

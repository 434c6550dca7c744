"""The weekly page as it is done: made when it is due, by a process of its own, tried again until the next is due."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from pathlib import Path
from typing import Final

from coverage_audit.daemon import own_words
from coverage_audit.daemon.child import Child, Process
from coverage_audit.daemon.deciding import Attempts, after_failure
from coverage_audit.daemon.due import summary_due
from coverage_audit.daemon.errands import Errand, PageErrand
from coverage_audit.daemon.log import Log
from coverage_audit.estate.model import Estate
from coverage_audit.ledger.ledger import Ledger
from coverage_audit.notices.telling import put_notice

FOR_THE_NIGHT: Final = timedelta(hours=6)
"""So long a page that is due waits for a night that runs: it is to tell of that, too."""

LONGEST_PAGE: Final = timedelta(hours=1)
"""A page's process that runs longer hangs and is ended."""


@dataclass(frozen=True, kw_only=True)
class _Running:
    page_of: date
    child: Process


class Weekly:
    """The weekly pages of one daemon, which was started at `started`."""

    def __init__(
        self, *, file: Path, state: Path, log: Log, started: datetime, start: Callable[[Errand], Process] = Child
    ) -> None:
        self._file = file
        self._state = state
        self._log = log
        self._started = started
        self._start = start
        self._running: _Running | None = None
        self._attempts: Attempts | None = None
        self._waiting: tuple[date, datetime] | None = None

    def look(self, now: datetime) -> None:
        """Look at the process of a page. Never waits."""
        if self._running is None:
            return
        page_of, child = self._running.page_of, self._running.child
        ended = child.look()
        if ended is None:
            if child.runs_for < LONGEST_PAGE.total_seconds():
                return
            child.end()
            self._failed(page_of, "it ran for more than an hour", now)
        elif ended.found_busy:
            self._log("weekly page waits: another process makes one", page_of=str(page_of))
        elif ended.failure:
            self._failed(page_of, ended.failure, now)
        else:
            self._attempts = None
            said = "" if ended.report is None else ended.report.said
            self._log("weekly page made", page_of=str(page_of), said=said)
        self._running = None

    def advance(self, estate: Estate, ledger: Ledger, now: datetime, *, night_runs: bool) -> None:
        """Begin what is due now. Raises LedgerError."""
        on = estate.schedule.summary
        if on is None or self._running is not None:
            return
        self._started = min(self._started, now)  # a clock that was ahead was set back
        since = min(ledger.nights.first_begun() or self._started, self._started)
        page_of = summary_due(now, ledger.summaries.made(), on, estate.time_zone, since=since)
        if page_of is None or self._must_wait(page_of, now, night_runs=night_runs):
            return
        attempts = self._attempts
        if attempts is not None and attempts.of == page_of:
            if attempts.must_wait(now):
                return
            if attempts.used_up:
                put_notice(estate, ledger.outbox, own_words.no_page(page_of, attempts.why), now)
        self._begin(page_of, estate, now)

    def end(self) -> None:
        """End the process of a page, whole: the next daemon does what is left to do."""
        if self._running is not None:
            self._running.child.end()
            self._running = None

    def _must_wait(self, page_of: date, now: datetime, *, night_runs: bool) -> bool:
        if self._waiting is None or self._waiting[0] != page_of:
            self._waiting = (page_of, now)
        return night_runs and timedelta(0) <= now - self._waiting[1] < FOR_THE_NIGHT

    def _begin(self, page_of: date, estate: Estate, now: datetime) -> None:
        errand = PageErrand(state=self._state, file=self._file, text=estate.text, page_of=page_of)
        try:
            self._running = _Running(page_of=page_of, child=self._start(errand))
        except OSError as error:
            self._failed(page_of, f"its process could not be started: {error.strerror}", now)

    def _failed(self, page_of: date, why: str, now: datetime) -> None:
        self._attempts = after_failure(self._attempts, page_of, why, now)
        again = self._attempts.not_before.isoformat(timespec="seconds")
        self._log.trouble("weekly page failed", page_of=str(page_of), times=self._attempts.failed, why=why, again=again)

"""What goes out to the network, in threads of its own: the outbox, the call after a night, notices past the outbox."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from pathlib import Path

from coverage_audit.daemon.alive import Calls, NightEnd, call
from coverage_audit.daemon.log import Log
from coverage_audit.errors import LedgerError
from coverage_audit.estate.model import Estate
from coverage_audit.notices.delivery import Delivered, Failed
from coverage_audit.notices.telling import Notice
from coverage_audit.wiring import Clock, reading, send_due, send_past_the_outbox


class Sender:
    """Sends and calls. Each method is for one thread.

    `hold` makes sure that the state folder is still the daemon's, `stopping` says whether the daemon is to end.
    """

    def __init__(
        self,
        *,
        state: Path,
        hold: Callable[[], None],
        environment: Mapping[str, str],
        clock: Clock,
        log: Log,
        stopping: Callable[[], bool],
    ) -> None:
        self._state = state
        self._hold = hold
        self._environment = environment
        self._clock = clock
        self._log = log
        self._stopping = stopping
        self._calls = Calls(state)

    def send(self, estate: Estate) -> None:
        """Send what is due in the outbox."""
        try:
            self._hold()
            with reading(self._state) as ledger:
                outcomes = send_due(estate, ledger, clock=self._clock, stopping=self._stopping)
        except LedgerError as error:
            self._log.trouble("notices cannot be sent", why=str(error))
            return
        self._say(outcomes)

    def send_directly(self, estate: Estate, notice: Notice, arrived: Callable[[], None]) -> None:
        """Send a notice past the outbox; call `arrived` where it reached somebody."""
        outcomes = send_past_the_outbox(estate, notice)
        self._say(outcomes)
        if any(isinstance(outcome, Delivered) for outcome in outcomes):
            arrived()

    def call_out(self, estate: Estate, end: NightEnd) -> None:
        """Call a night's end out, where it was not taken yet and is due."""
        now = self._clock()
        if estate.alive is None or not self._calls.due(end, now):
            return
        why = call(estate.alive, self._environment, end)
        if why is not None:
            again = now + self._calls.failed(end, now)
            self._log.trouble("night not called out", night=str(end.night), why=why, again=again.isoformat())
            return
        self._log("night called out", night=str(end.night), outcome=end.outcome.value)
        try:
            self._calls.taken(end)
        except LedgerError as error:
            self._log.trouble("the call cannot be noted", why=str(error))

    def _say(self, outcomes: tuple[object, ...]) -> None:
        for outcome in outcomes:
            if isinstance(outcome, Failed):
                self._log.trouble("notice not delivered", target=outcome.target, why=outcome.reason)
            elif isinstance(outcome, Delivered):
                self._log("notice delivered", target=outcome.target)

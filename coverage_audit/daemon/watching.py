"""The watch: a thread that takes signals, and makes sure that ticks come, whatever the wall clock does.

Signals reach it through a pipe that the interpreter writes to (signal.set_wakeup_fd), so that nothing runs in the
middle of what the main thread does.
"""

from __future__ import annotations

import os
import select
import signal
import threading
from collections.abc import Callable
from typing import Final

from coverage_audit.daemon.ending import Ending
from coverage_audit.daemon.log import Log
from coverage_audit.daemon.ticking import Ticking
from coverage_audit.errors import EX_SOFTWARE

_LOOK_S: Final = 1.0
"""Seconds between two looks at the ticks."""

HUNG_S: Final = 600.0
"""A tick that is late by so many seconds hangs: the process ends, and whoever supervises it starts it again."""

_STOPS: Final = frozenset({signal.SIGTERM, signal.SIGINT})


class Watch(threading.Thread):
    """Made in the main thread, before anything else starts; `reread` is called at SIGHUP."""

    def __init__(self, ending: Ending, log: Log) -> None:
        super().__init__(name="watch", daemon=True)
        self._ending = ending
        self._log = log
        self._ticking: Ticking | None = None
        self._reread: Callable[[], None] | None = None
        self._pipe, written = os.pipe()
        os.set_blocking(written, False)
        signal.set_wakeup_fd(written, warn_on_full_buffer=False)
        for number in (*_STOPS, signal.SIGHUP):
            signal.signal(number, _nothing)

    def over(self, ticking: Ticking, reread: Callable[[], None]) -> None:
        """Watch over these ticks from now on."""
        self._ticking, self._reread = ticking, reread
        self.start()

    def run(self) -> None:
        """Watch until the process ends."""
        try:
            while True:
                self._look()
        except Exception as error:  # noqa: BLE001 - a daemon that cannot be stopped any more must not go on
            self._log.trouble("the watch failed", why=f"{type(error).__name__}: {error}")
            self._ending.ask(EX_SOFTWARE, "the watch failed")
            if self._ticking is not None:
                self._ticking.stop()

    def _look(self) -> None:
        if select.select([self._pipe], [], [], _LOOK_S)[0]:
            for number in os.read(self._pipe, 100):
                self._take(signal.Signals(number))
        if self._ticking is None:
            return
        if self._ending.asked:
            self._ticking.stop()
        elif self._ticking.late_by > HUNG_S:
            self._log.trouble("the tick hangs: the process ends", seconds=round(self._ticking.late_by))
            os._exit(EX_SOFTWARE)
        elif self._ticking.late_by > _LOOK_S and not self._ticking.in_a_tick:
            self._ticking.soon()

    def _take(self, number: signal.Signals) -> None:
        if number in _STOPS:
            self._ending.ask(0, f"{number.name}")
        elif number is signal.SIGHUP and self._reread is not None and self._ticking is not None:
            self._reread()
            self._ticking.soon()


def _nothing(_number: int, _frame: object) -> None:
    """Take the place of what the system would do; the pipe tells the watch."""

"""The command line with a daemon whose fourth tick never ends, and whose watch is as impatient as a test."""

from __future__ import annotations

import threading
from datetime import datetime

from coverage_audit.cli.main import run
from coverage_audit.daemon import watching
from coverage_audit.daemon.nights import Nights

_LAST = 4
_ticks: list[datetime] = []
_look = Nights.look


def _hang(self: Nights, now: datetime) -> bool:
    _ticks.append(now)
    if len(_ticks) >= _LAST:
        threading.Event().wait()
    return _look(self, now)


if __name__ == "__main__":
    watching.HUNG_S = 3.0  # type: ignore[misc]  # the test's own
    Nights.look = _hang  # type: ignore[method-assign]  # the defect
    run()

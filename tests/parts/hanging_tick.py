"""The command line with a tick that hangs for ever after some that went well, and a watch that waits three seconds."""

from __future__ import annotations

import threading
from collections.abc import Callable
from typing import Any

from coverage_audit.cli.main import run

_TICKS = 3


def hanging(tick: Callable[[], None]) -> Callable[[], None]:
    """Return a tick that hangs as a call into a dead mount would: at the third."""
    count = 0

    def ticked() -> None:
        nonlocal count
        count += 1
        if count > _TICKS:
            threading.Event().wait()
        tick()

    return ticked


if __name__ == "__main__":
    import coverage_audit.daemon.ticking
    import coverage_audit.daemon.watching

    begin = coverage_audit.daemon.ticking.Ticking.__init__

    def beginning(ticking: Any, tick: Callable[[], None], *rest: Any) -> None:
        """Begin with such a tick."""
        begin(ticking, hanging(tick), *rest)

    coverage_audit.daemon.ticking.Ticking.__init__ = beginning  # type: ignore[method-assign]  # what the test is about
    coverage_audit.daemon.watching.HUNG_S = 3.0  # type: ignore[misc]  # the same
    run()

"""Ending a worker with all that it started, without ever waiting for what cannot be ended.

A worker's standard input is its lifeline: when its parent dies, however, it closes.
"""

from __future__ import annotations

import contextlib
import os
import signal
import threading
from collections.abc import Iterator
from pathlib import Path

_PROC = Path("/proc")


def end_session(leader: int) -> None:
    """Kill every process of the session that `leader` leads: the worker, its walkers, its commands.

    A process in uninterruptible sleep (a dead mount) dies when it wakes; nobody waits for it. Where there is no
    /proc the worker's own process group is killed.
    """
    for _ in range(2):  # a second time for what was started while the first was under way
        for process in _members(leader):
            with contextlib.suppress(ProcessLookupError, PermissionError):
                os.kill(process, signal.SIGKILL)
    with contextlib.suppress(ProcessLookupError, PermissionError):
        os.killpg(leader, signal.SIGKILL)


def end_with_parent() -> None:
    """From now on end this process, which leads a session, with all of that session when its standard input closes."""
    threading.Thread(target=_until_closed, name="lifeline", daemon=True).start()


def _until_closed() -> None:
    while os.read(0, 1 << 16):
        pass
    end_session(os.getpid())
    os._exit(1)


def _members(session: int) -> Iterator[int]:
    for folder in _PROC.glob("[0-9]*"):
        try:
            stat = (folder / "stat").read_bytes()
        except OSError:
            continue  # it ended while the list was read
        # proc(5): pid (name) state ppid pgrp session …; the name may hold anything, also brackets.
        fields = stat.rpartition(b")")[2].split()
        if len(fields) > 3 and int(fields[3]) == session and int(folder.name) != os.getpid():
            yield int(folder.name)

"""Ending a worker with all that it started, without ever waiting for what cannot be ended."""

from __future__ import annotations

import contextlib
import os
import signal
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

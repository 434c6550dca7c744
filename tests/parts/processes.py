"""The processes that run on this machine, by proc(5); each may end while it is asked about."""

from __future__ import annotations

import contextlib
import os
import signal
import subprocess
from pathlib import Path


def runs(pid: int) -> bool:
    """Whether a process is there and has not ended."""
    return state(pid) not in {"", "Z"}


def state(pid: int) -> str:
    """The letter of a process's state: "D" sleeps in the kernel, "Z" has ended; nothing if it is gone."""
    return _stat(pid)[0]


def descendants(pid: int) -> list[int]:
    """The numbers of all processes that run below `pid`, the nearest first."""
    children: dict[int, list[int]] = {}
    for entry in Path("/proc").glob("[0-9]*"):
        letter, parent = _stat(int(entry.name))
        if letter not in {"", "Z"}:
            children.setdefault(parent, []).append(int(entry.name))
    found = list(children.get(pid, []))
    for number in found:
        found += children.get(number, [])
    return found


def end_with_descendants(process: subprocess.Popen[bytes]) -> None:
    """End a process and what it has left running; a hung session does not end by itself."""
    for number in [*descendants(process.pid), process.pid]:
        with contextlib.suppress(ProcessLookupError):
            os.kill(number, signal.SIGKILL)
    process.wait(10)


def _stat(pid: int) -> tuple[str, int]:
    """Its state and who started it. What follows the name counts: a name may hold anything."""
    with contextlib.suppress(OSError):
        letter, parent = Path(f"/proc/{pid}/stat").read_bytes().rpartition(b")")[2].split()[:2]
        return letter.decode(), int(parent)
    return "", 0

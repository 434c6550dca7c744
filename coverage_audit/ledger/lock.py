"""One audit at a time for a state folder: a lock that the system lets go of, however its holder ends."""

from __future__ import annotations

import fcntl
import os
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, datetime
from pathlib import Path

from coverage_audit.errors import LedgerBusyError
from coverage_audit.ledger.folder import StateFolder, speaking_of

_held: set[tuple[int, Path]] = set()
"""Locks of this process: the system knows only that a lock is taken, not that it is ours."""


@contextmanager
def exclusive(state: Path) -> Iterator[None]:
    """Hold the state folder for one audit; raises LedgerBusyError, naming the holder, when it is taken.

    The lock is advisory (flock) and ends with the process, `kill -9` included. Whoever opens the ledger
    while this process holds it also clears away what a killed audit left.
    """
    StateFolder(path=state).prepare()
    with speaking_of(state):
        descriptor = os.open(state / "lock", os.O_RDWR | os.O_CREAT | os.O_CLOEXEC, 0o600)
    try:
        _take(descriptor, state)
        mine = (os.getpid(), state.resolve())
        _held.add(mine)
        try:
            yield
        finally:
            _held.discard(mine)
    finally:
        os.close(descriptor)


def held_here(state: Path) -> bool:
    """Whether this process holds the state folder."""
    return (os.getpid(), state.resolve()) in _held


def _take(descriptor: int, state: Path) -> None:
    try:
        fcntl.flock(descriptor, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except BlockingIOError:
        raise LedgerBusyError(f"another audit is running on {state}: {_holder(descriptor)}") from None
    with speaking_of(state):
        os.ftruncate(descriptor, 0)
        os.pwrite(descriptor, f"process {os.getpid()}".encode("ascii"), 0)


def _holder(descriptor: int) -> str:
    """Say who wrote into the lock, and when (the file's own time: no clock is read)."""
    who = os.pread(descriptor, 100, 0).decode("ascii", "replace")
    since = datetime.fromtimestamp(os.fstat(descriptor).st_mtime, UTC)
    return f"{who or 'an unknown process'}, since {since:%Y-%m-%d %H:%M:%S} UTC"

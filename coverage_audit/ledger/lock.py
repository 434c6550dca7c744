"""Locks of a state folder: one audit, one daemon, one that sends. The system lets go of one, however a holder ends."""

from __future__ import annotations

import fcntl
import os
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, datetime
from enum import Enum
from pathlib import Path

from coverage_audit.errors import LedgerBusyError
from coverage_audit.ledger.folder import StateFolder, speaking_of


class Lock(Enum):
    """What one process at a time may do on a state folder: the lock's file, and what to say where it is taken."""

    AUDIT = ("lock", "another audit is running on")
    DAEMON = ("daemon.lock", "another daemon works on")
    SENDING = ("sending.lock", "another process sends notices from")
    SUMMARY = ("summary.lock", "another process makes the weekly page of")


_held: set[tuple[int, Path, Lock]] = set()
"""Locks of this process: the system knows only that a lock is taken, not that it is ours."""


@contextmanager
def exclusive(state: Path, lock: Lock = Lock.AUDIT) -> Iterator[None]:
    """Hold a lock of the state folder; raises LedgerBusyError, naming the holder, when it is taken.

    The lock is advisory (flock), is not inherited by what the process starts, and ends with the process, `kill -9`
    included. Whoever opens the ledger while this process holds the lock of audits also clears away what a killed audit
    left.
    """
    file, taken = lock.value
    StateFolder(path=state).prepare()
    with speaking_of(state):
        # For reading: a daemon that holds its lock for years must not keep a disk from being set read-only.
        descriptor = os.open(state / file, os.O_RDONLY | os.O_CREAT | os.O_CLOEXEC, 0o600)
    try:
        _take(descriptor, state / file, taken)
        mine = (os.getpid(), state.resolve(), lock)
        _held.add(mine)
        try:
            yield
        finally:
            _held.discard(mine)
    finally:
        os.close(descriptor)


def held_here(state: Path) -> bool:
    """Whether this process holds the state folder for an audit."""
    return (os.getpid(), state.resolve(), Lock.AUDIT) in _held


def holder_of(state: Path, lock: Lock) -> str | None:
    """Say who holds a lock, and since when (None: nobody does). Raises LedgerError."""
    with speaking_of(state):
        try:
            descriptor = os.open(state / lock.value[0], os.O_RDONLY | os.O_CLOEXEC)
        except FileNotFoundError:
            return None
    try:
        fcntl.flock(descriptor, fcntl.LOCK_SH | fcntl.LOCK_NB)
    except BlockingIOError:
        return _holder(descriptor)
    finally:
        os.close(descriptor)
    return None


def _take(descriptor: int, file: Path, taken: str) -> None:
    try:
        fcntl.flock(descriptor, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except BlockingIOError:
        raise LedgerBusyError(f"{taken} {file.parent}: {_holder(descriptor)}") from None
    with speaking_of(file.parent):
        file.write_text(f"process {os.getpid()}", "ascii")


def _holder(descriptor: int) -> str:
    """Say who wrote into the lock, and when (the file's own time: no clock is read)."""
    who = os.pread(descriptor, 100, 0).decode("ascii", "replace")
    since = datetime.fromtimestamp(os.fstat(descriptor).st_mtime, UTC)
    return f"{who or 'an unknown process'}, since {since:%Y-%m-%d %H:%M:%S} UTC"

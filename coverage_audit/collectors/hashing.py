"""Digests of files on the auditor's own machine: read once, without leaving a trace in their times."""

from __future__ import annotations

import hashlib
import os
import stat
from collections import deque
from collections.abc import Callable, Iterable
from concurrent.futures import Future, ThreadPoolExecutor
from typing import Final

from coverage_audit.collectors.opening_files import Opener, past_memory
from coverage_audit.collectors.pace import OutOfTimeError, Pace
from coverage_audit.evidence.content import HashedFile, NotHashed, Wanted

Say = Callable[[HashedFile | NotHashed], None]
"""Takes what came of one file, as soon as it is known."""

CHANGED_BEFORE: Final = "it changed since it was listed"
CHANGED_MEANWHILE: Final = "it changed while it was read"

_AT_ONCE: Final = 4
_PIECE: Final = 1 << 20
_LARGE: Final = 256 << 10  # bytes; below that a thread costs more than it gives
_ONE_READER: Final = 400_000_000  # bytes a second that a single thread reads and digests with ease


def hash_here(algorithm: str, root: str, wanted: Iterable[Wanted], pace: Pace, say: Say) -> None:
    """Say of each file below `root` its digest, or why there is none. What does not fit the time is passed over.

    Raises OutOfTimeError when the time is over: what was not said by then was not read. Raises OSError where the root
    cannot be opened.
    """
    make = getattr(hashlib, algorithm)
    is_slow = pace.rate is not None and pace.rate < _ONE_READER
    under_way: deque[Future[HashedFile | NotHashed]] = deque()
    with ThreadPoolExecutor(1 if is_slow else _AT_ONCE, thread_name_prefix="digest") as pool, Opener(root) as opener:
        try:
            for one in wanted:
                if not pace.fits(one.size):
                    continue
                try:
                    descriptor = opener.open(one.path)
                except OSError as error:
                    say(NotHashed(path=one.path, why=error.strerror or str(error)))
                    continue
                if one.size < _LARGE or is_slow:
                    say(_read(make, descriptor, one, pace))
                else:
                    under_way.append(pool.submit(_read, make, descriptor, one, pace))
                if len(under_way) > _AT_ONCE:
                    say(under_way.popleft().result())
        finally:
            _say_rest(under_way, say)


def _say_rest(under_way: Iterable[Future[HashedFile | NotHashed]], say: Say) -> None:
    late: OutOfTimeError | None = None
    for future in under_way:
        try:
            say(future.result())
        except OutOfTimeError as error:
            late = error
    if late is not None:
        raise late


def _read(make: Callable[..., hashlib._Hash], descriptor: int, one: Wanted, pace: Pace) -> HashedFile | NotHashed:
    """Read an open file and close it."""
    try:
        before = os.fstat(descriptor)
        if (before.st_size, before.st_mtime_ns) != (one.size, one.mtime_ns) or not stat.S_ISREG(before.st_mode):
            return NotHashed(path=one.path, why=CHANGED_BEFORE)
        past_memory(descriptor)
        digest = _digest(make, descriptor, one.size, pace)
        after = os.fstat(descriptor)
        if digest is None or (after.st_size, after.st_mtime_ns, after.st_ctime_ns) != (
            before.st_size,
            before.st_mtime_ns,
            before.st_ctime_ns,
        ):
            return NotHashed(path=one.path, why=CHANGED_MEANWHILE)
        return HashedFile(
            path=one.path, size=one.size, mtime_ns=one.mtime_ns, ctime_ns=before.st_ctime_ns, digest=digest
        )
    except OSError as error:
        return NotHashed(path=one.path, why=error.strerror or str(error))
    finally:
        os.close(descriptor)


def _digest(make: Callable[..., hashlib._Hash], descriptor: int, size: int, pace: Pace) -> bytes | None:
    """Return the digest of exactly `size` bytes; None where there are not just as many."""
    hashed = make(usedforsecurity=False)
    left = size
    while left > 0:
        piece = os.read(descriptor, min(_PIECE, left + 1))  # one more than is left: a file that grew is seen to have
        if not 0 < len(piece) <= left:
            return None
        hashed.update(piece)
        left -= len(piece)
        pace.took(len(piece))
    return bytes(hashed.digest())

"""Digests of files on the auditor's own machine: read once, without leaving a trace in their times."""

from __future__ import annotations

import hashlib
import os
import stat
import time
from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from functools import partial
from typing import Final

from coverage_audit.collectors.readers.digests import Told
from coverage_audit.collectors.transport import TransportError
from coverage_audit.evidence.content import Wanted
from coverage_audit.evidence.facts import GapKind

_AT_ONCE: Final = 4
_PIECE: Final = 1 << 20


def hash_here(algorithm: str, root: str, wanted: Sequence[Wanted], *, deadline: float) -> tuple[Told, ...]:
    """Return a digest of each file below `root`, or why there is none, in their order.

    `deadline` is on time.monotonic(). Raises TransportError when it is over.
    """
    with ThreadPoolExecutor(_AT_ONCE, thread_name_prefix="digest") as pool:
        return tuple(pool.map(partial(_digest, algorithm, os.fsencode(root), deadline), wanted))


def _digest(algorithm: str, root: bytes, deadline: float, one: Wanted) -> Told:
    try:
        descriptor = _opened(root + b"/" + one.path)
    except OSError as error:
        return error.strerror or str(error)
    try:
        if _figures(descriptor) != (one.size, one.mtime_ns):
            return "it changed since it was listed"
        hashed = hashlib.new(algorithm, usedforsecurity=False)
        while piece := os.read(descriptor, _PIECE):
            hashed.update(piece)
            if time.monotonic() > deadline:
                raise TransportError(GapKind.TIME_LIMIT, "the files were not read within the time limit")
        return hashed.digest() if _figures(descriptor) == (one.size, one.mtime_ns) else "it changed while it was read"
    except OSError as error:
        return error.strerror or str(error)
    finally:
        os.close(descriptor)


def _opened(path: bytes) -> int:
    """Open a file to read it, no link and nothing that waits; its access time stays where the kernel lets it."""
    flags = os.O_RDONLY | os.O_NOFOLLOW | os.O_NONBLOCK | os.O_CLOEXEC
    try:
        return os.open(path, flags | getattr(os, "O_NOATIME", 0))
    except PermissionError:
        return os.open(path, flags)  # only its owner may ask for that


def _figures(descriptor: int) -> tuple[int, int] | None:
    seen = os.fstat(descriptor)
    return (seen.st_size, seen.st_mtime_ns) if stat.S_ISREG(seen.st_mode) else None

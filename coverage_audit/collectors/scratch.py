"""Files read back onto a scratch disk: without a name there, so that whatever ends the drill, nothing of them is left.

A file is written, flushed, and read once more from the disk to be digested; then its room is free again. So the scratch
disk needs no more room than the largest file takes.
"""

from __future__ import annotations

import contextlib
import hashlib
import os
import tempfile
import time
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path
from typing import Final

from coverage_audit.collectors.readers.content import ANOTHER
from coverage_audit.collectors.transport import TransportError
from coverage_audit.evidence.content import Wanted
from coverage_audit.evidence.drilling import FileBack
from coverage_audit.evidence.facts import GapKind
from coverage_audit.evidence.visible import visible

_PIECE: Final = 1 << 20
PREFIX: Final = "coverage-audit-drill-"


class Scratch:
    """A sink that holds each file on the scratch disk; `say` is told what came of it. See `sink.Sink`.

    Every method raises TransportError (STORAGE) where the scratch disk fails.
    """

    def __init__(self, folder: Path, algorithms: Sequence[str], say: Callable[[FileBack], None]) -> None:
        self._folder = folder
        self._algorithms = algorithms
        self._say = say
        self._file: int | None = None
        self._one: Wanted | None = None
        self._size = 0
        self._started = time.monotonic()
        self._aside = 0.0
        self.read = 0

    @property
    def seconds(self) -> float:
        """How long was spent on reading and writing, the time of digesting left aside."""
        return time.monotonic() - self._started - self._aside

    def begin(self, one: Wanted) -> None:
        """Make ready for a file."""
        self.close()
        self._one, self._size = one, 0
        with self._speaking():
            self._file = nameless(self._folder)

    def take(self, piece: bytes) -> None:
        """Write the next piece of it."""
        left = memoryview(piece)
        with self._speaking():
            while left:
                left = left[os.write(self._opened, left) :]
        self._size += len(piece)
        self.read += len(piece)

    def end(self, why: str | None) -> None:
        """Digest what the disk holds of it, or note why it does not count."""
        if self._one is None:
            raise ValueError("no file has begun")
        if why is None and self._size != self._one.size:
            raise TransportError(GapKind.MALFORMED, "the box gave a file of another length than it said")
        began = time.monotonic()
        with self._speaking():
            digests = self._digests() if why is None else ()
        path, is_another = self._one.path, why in ANOTHER
        self.close()
        self._aside += time.monotonic() - began
        self._say(FileBack(path=path, size=self._size, digests=digests, why=why, is_another=is_another))

    def close(self) -> None:
        """Let go of what is held: it is gone with that."""
        if self._file is not None:
            os.close(self._file)
            self._file = None

    def _digests(self) -> tuple[tuple[str, bytes], ...]:
        os.fsync(self._opened)
        with contextlib.suppress(OSError, AttributeError):  # so that the disk is asked, not the memory before it
            os.posix_fadvise(self._opened, 0, 0, os.POSIX_FADV_DONTNEED)
        made = [hashlib.new(name, usedforsecurity=False) for name in self._algorithms]
        at = 0
        while piece := os.pread(self._opened, _PIECE, at):
            at += len(piece)
            for one in made:
                one.update(piece)
        return tuple((name, one.digest()) for name, one in zip(self._algorithms, made, strict=True))

    @property
    def _opened(self) -> int:
        if self._file is None:
            raise ValueError("no file has begun")
        return self._file

    @contextlib.contextmanager
    def _speaking(self) -> Iterator[None]:
        try:
            yield
        except OSError as error:
            where = visible(os.fsencode(self._folder))
            raise TransportError(GapKind.STORAGE, f"the scratch folder {where}: {error.strerror}") from error


def nameless(folder: Path) -> int:
    """Open a new file that has no name in `folder`, for this account alone. Raises OSError."""
    with contextlib.suppress(OSError, AttributeError):
        return os.open(folder, os.O_TMPFILE | os.O_RDWR | os.O_CLOEXEC, 0o600)
    descriptor, name = tempfile.mkstemp(prefix=PREFIX, dir=folder)  # its filesystem knows only files with names
    try:
        Path(name).unlink()
    except OSError:
        os.close(descriptor)
        raise
    return descriptor


def clear(folder: Path) -> None:
    """Remove what a drill that was ended between two calls may have left: an empty file with its name still on it."""
    with contextlib.suppress(OSError):
        for left in folder.glob(f"{PREFIX}*"):
            seen = left.lstat()
            if left.is_file() and not left.is_symlink() and not seen.st_size and seen.st_uid == os.geteuid():
                left.unlink()

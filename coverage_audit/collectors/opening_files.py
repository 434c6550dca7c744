"""Opening files below a root to read them: through real folders only, without waiting, without a trace.

A folder that has become a link since it was listed leads elsewhere, perhaps to the very files that a copy is held
against: it is not followed.
"""

from __future__ import annotations

import contextlib
import os
from types import TracebackType
from typing import Final, Self

_FOLDER: Final = getattr(os, "O_PATH", os.O_RDONLY) | os.O_DIRECTORY | os.O_CLOEXEC
_FILE: Final = os.O_RDONLY | os.O_NOFOLLOW | os.O_NONBLOCK | os.O_CLOEXEC
_NO_TRACE: Final = getattr(os, "O_NOATIME", 0)


class Opener:
    """Opens files of one tree; the folder of the last one is kept open. Raises OSError anywhere."""

    def __init__(self, root: str) -> None:
        self._root = os.open(root, _FOLDER)  # the root itself may be a link, as it was when it was walked
        self._folder: bytes | None = None
        self._opened = -1

    def open(self, path: bytes) -> int:
        """Open a file; its access time stays where the kernel lets it."""
        folder, slash, name = path.rpartition(b"/")
        if not slash:
            return _opened(name, self._root)
        if folder != self._folder:
            self._leave()
            self._opened, self._folder = self._enter(folder), folder
        return _opened(name, self._opened)

    def _enter(self, folder: bytes) -> int:
        at = self._root
        for name in folder.split(b"/"):
            try:
                inner = os.open(name, _FOLDER | os.O_NOFOLLOW, dir_fd=at)
            finally:
                if at != self._root:
                    os.close(at)
            at = inner
        return at

    def _leave(self) -> None:
        if self._folder is not None:
            os.close(self._opened)
            self._folder = None

    def __enter__(self) -> Self:
        """Use it in a `with` block."""
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        """Let go of the folders."""
        self._leave()
        os.close(self._root)


def past_memory(descriptor: int) -> None:
    """Have what is read next come from the file's drive, as far as the system can: what is in memory proves no drive.

    What was not written to the drive yet stays in memory.
    """
    with contextlib.suppress(OSError, AttributeError):
        os.posix_fadvise(descriptor, 0, 0, os.POSIX_FADV_DONTNEED)


def _opened(name: bytes, folder: int) -> int:
    try:
        return os.open(name, _FILE | _NO_TRACE, dir_fd=folder)
    except PermissionError:
        return os.open(name, _FILE, dir_fd=folder)  # only its owner may ask for that

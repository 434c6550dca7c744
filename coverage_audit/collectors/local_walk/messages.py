"""What the auditor and its walker processes say to each other: a length, then a value of plain types.

Both ends are the same interpreter and program, on one private pipe; nothing of it is stored.
"""

from __future__ import annotations

import marshal
from collections.abc import Iterator
from typing import Any, Final

Facts = tuple[int, int, int, int, int, int]
"""mode, size, mtime in ns, ctime in ns, blocks of 512 bytes, links: of one entry, as lstat gives them."""

Opens = list[tuple[int, int]]
"""Folders still to be opened among some entries: the place of each, and its inode number when it was listed."""

Stretch = tuple[list[bytes], list[Facts], Opens, dict[bytes, bytes]]
"""Entries in tree order that are not told yet: their paths, their facts, the folders among them that are still to be
opened, and the targets of the links among them."""

NUMBERS: Final = 6  # of one entry's facts, as 64-bit integers side by side

# To a walker: (number, stretch or None for the whole tree, how many rows are enough).
# From it: ("rows", number, count, paths each ended by NUL, facts, targets of the links among them)
#          ("blind", path, why) · ("done", number, rows, vanished, what is left or None) · ("bye", rows in all)

_HEAD: Final = 4


def packed(value: Any) -> bytes:
    """Return a value as it travels."""
    body = marshal.dumps(value)
    return len(body).to_bytes(_HEAD, "little") + body


class Inbox:
    """Puts together what came through a pipe; a value that was cut is never given out."""

    def __init__(self) -> None:
        self._bytes = bytearray()

    def take(self, piece: bytes) -> Iterator[Any]:
        """Take what was read and give the values that are whole by now."""
        self._bytes += piece
        while len(self._bytes) >= _HEAD:
            end = _HEAD + int.from_bytes(self._bytes[:_HEAD], "little")
            if len(self._bytes) < end:
                return
            with memoryview(self._bytes) as view:
                value = marshal.loads(view[_HEAD:end])  # noqa: S302 - written by our own other process
            del self._bytes[:end]
            yield value

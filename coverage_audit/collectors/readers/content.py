"""The content of named files below a root, as the gate sends it: one after the other, each with its length before it.

The box looks at a file before and after it sends it, and sends exactly as many bytes as the first look showed: of one
that is shorter by then it fills them up, and says so by the second look. A piece is handed on as it comes, so that a
file of any size passes through a bounded memory; nothing of it counts before the file's own end has come.
"""

from __future__ import annotations

import os
from collections.abc import Iterator, Sequence
from typing import Final

from coverage_audit.collectors.file_figures import NO_FILE, NOTHING_TOLD, file_figures, why_not_read
from coverage_audit.collectors.framing import MODES, beginning, ending, refusal
from coverage_audit.collectors.hashing import CHANGED_BEFORE, CHANGED_MEANWHILE
from coverage_audit.collectors.requests import Request
from coverage_audit.collectors.requests import batches as cut_to_fit
from coverage_audit.collectors.sink import Sink
from coverage_audit.collectors.transport import TransportError
from coverage_audit.evidence.content import Wanted
from coverage_audit.evidence.facts import GapKind
from coverage_audit.evidence.visible import visible

_MOST_BETWEEN: Final = 1 << 20  # bytes of what is no content: noise of start files, a name and its figures
ANOTHER: Final = frozenset({CHANGED_BEFORE, CHANGED_MEANWHILE, NO_FILE})
"""Why a file does not count that is not, or not any more, what was listed."""
_REFUSAL: Final = b"R "
_NEVER: Final = b"\0\0never\0\0"  # nothing more comes of this answer but its end


def batches(root: str, wanted: Sequence[Wanted]) -> tuple[tuple[Wanted, ...], ...]:
    """Cut the files so that each batch makes one request."""
    cut = cut_to_fit((os.fsencode(root),), tuple(one.path for one in wanted))
    left = iter(wanted)
    return tuple(tuple(next(left) for _ in batch) for batch in cut)


def request(root: str, wanted: Sequence[Wanted], nonce: str) -> Request:
    """Return the request for the content of one batch of files below `root`."""
    return Request(verb="content", arguments=(os.fsencode(root), *(one.path for one in wanted)), nonce=nonce)


class ContentStream:
    """Fed with the pieces of one answer; content goes to `sink`. `end` says whether the answer was whole."""

    def __init__(self, root: str, wanted: Sequence[Wanted], nonce: str, sink: Sink) -> None:
        self._root = root
        self._nonce = nonce
        self._wanted = wanted
        self._sink = sink
        self._waiting = bytearray()
        self._length = 0  # of content that is still to come of the present file
        self._steps = self._run()
        self._need: bytes | None = next(self._steps)

    def feed(self, piece: bytes) -> None:
        """Take the next piece. Raises TransportError where it is no such answer, and whatever the sink raises."""
        self._waiting += piece
        while True:
            if self._length:
                if not self._waiting:
                    return
                given = bytes(self._waiting[: self._length])
                del self._waiting[: len(given)]
                self._length -= len(given)
                self._sink.take(given)
                continue
            if self._need is None or self._need not in self._waiting:
                break
            self._need = next(self._steps, None)
        if len(self._waiting) > _MOST_BETWEEN:
            raise TransportError(GapKind.MALFORMED, "the box prints without end what is no content")

    def end(self, exit_status: int | None) -> None:
        """Take note that the answer is over. Raises TransportError where it was not whole."""
        if exit_status is None:
            raise TransportError(GapKind.CUT, "the connection ended before the answer did")
        refused = refusal(b"\0" + bytes(self._waiting), exit_status, self._nonce)
        if refused is not None:
            raise refused
        if self._need is not None and self._need.startswith(b"B "):
            noise = visible(bytes(self._waiting[:120]))
            raise TransportError(GapKind.NO_SHELL, f"status {exit_status}, and no answer but {noise!r}")
        if self._need is not None or exit_status != 0 or self._waiting != ending(self._nonce, 0):
            raise TransportError(GapKind.CUT, "the answer with the content has no end")

    def _run(self) -> Iterator[bytes]:
        """Yield what must have come before the next step can be made."""
        begin = beginning(self._nonce)
        yield begin
        del self._waiting[: self._waiting.index(begin) + len(begin)]
        yield b"\0"
        if self._field() not in MODES:
            raise _malformed(self._root)
        # A refusal, or that there is no such folder or tool, stands where this word would.
        yield b"\0"
        word = self._field()
        if word != b"content":
            yield from self._nothing(word)
            return
        for one in self._wanted:
            yield from self._file(one)

    def _nothing(self, word: bytes) -> Iterator[bytes]:
        if word == b"tool":
            raise TransportError(GapKind.NO_TOOL, "the box has no head that counts bytes")
        if word == b"refused":
            yield b"\0"
            why = visible(self._field().rpartition(b": ")[2])
            raise TransportError(GapKind.UNREADABLE, f"{visible(os.fsencode(self._root))}: {why}")
        if word.startswith(_REFUSAL):
            yield _NEVER
        raise _malformed(self._root)

    def _file(self, one: Wanted) -> Iterator[bytes]:
        self._sink.begin(one)
        yield b"\0"
        state = self._field()
        if state.startswith(_REFUSAL):
            yield _NEVER
        yield b"\0"
        if self._field() != b"./" + one.path:
            raise TransportError(GapKind.MALFORMED, f"{self._root}: the content of another file than was asked for")
        yield b"\0"
        before = self._field()
        if state != b"ok":
            self._sink.end(why_not_read(state))
            return
        yield b"\0"
        length = self._field()
        if not length.isdigit() or before.split(b" ", 1)[0] != length:
            raise _malformed(self._root)
        self._length = int(length)
        mark = b"F %s " % self._nonce.encode("ascii")
        yield mark
        if not self._waiting.startswith(mark):
            raise _malformed(self._root)
        del self._waiting[: len(mark)]
        yield b"\0"
        status = self._field()
        yield b"\0"
        self._sink.end(_why(one, status, before, self._field()))

    def _field(self) -> bytes:
        """Take the next field; a refusal stays, for `end` to read."""
        at = self._waiting.index(b"\0")
        field = bytes(self._waiting[:at])
        if not field.startswith(_REFUSAL):
            del self._waiting[: at + 1]
        return field


def _why(one: Wanted, status: bytes, before: bytes, after: bytes) -> str | None:
    """Say why what came does not count (None: it does)."""
    first = file_figures(before)
    if first is None:
        return NOTHING_TOLD
    if not first.are_of(one):
        return CHANGED_BEFORE
    if after != before:
        return CHANGED_MEANWHILE
    return None if status == b"0" else f"reading it failed in the middle (status {visible(status)})"


def _malformed(root: str) -> TransportError:
    return TransportError(GapKind.MALFORMED, f"{root}: the answer with the content has no shape")

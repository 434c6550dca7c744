"""Reading one folder over SFTP to its end, with a few requests ahead."""

from __future__ import annotations

from collections.abc import Callable
from typing import Final

from coverage_audit.collectors.readers.sftp_tree.packets import Answer, Attributes, Code, Kind
from coverage_audit.collectors.readers.sftp_tree.session import Session
from coverage_audit.collectors.transport import TransportError
from coverage_audit.evidence.facts import GapKind

_AHEAD: Final = 2  # requests for names at a time: most folders end within the first answer
_DOTS: Final = (b".", b"..")

Names = list[tuple[bytes, Attributes]]


class Folder:
    """Reads the folder at `path`: names go to `take` as they come, then `end` is told the code it ended with.

    The code is EOF where it was read to its end, that of the failure otherwise.
    """

    def __init__(
        self, session: Session, path: bytes, take: Callable[[Names], None], end: Callable[[int], None]
    ) -> None:
        self._session = session
        self._take = take
        self._end = end
        self._handle = b""
        self._code: int | None = None
        self._open = 0
        session.ask(self._opened, Kind.OPENDIR, path)

    def _opened(self, answer: Answer) -> None:
        code = answer.code()
        if code is not None:
            self._end(Code.FAILURE if code in {Code.OK, Code.EOF} else code)
            return
        self._handle = answer.handle()
        for _ in range(_AHEAD):
            self._ask()

    def _ask(self) -> None:
        self._open += 1
        self._session.ask(self._read, Kind.READDIR, self._handle)

    def _read(self, answer: Answer) -> None:
        self._open -= 1
        code = answer.code()
        if code is None:
            self._take([(_sound(name), attributes) for name, attributes in answer.names() if name not in _DOTS])
        elif self._code in {None, Code.EOF}:
            self._code = Code.FAILURE if code == Code.OK else code
        if self._code is None:
            self._ask()
        elif not self._open:
            self._session.ask(_closed, Kind.CLOSE, self._handle)
            self._end(self._code)


def _closed(answer: Answer) -> None:
    answer.code()


def _sound(name: bytes) -> bytes:
    if not name or b"/" in name or b"\0" in name:
        raise TransportError(GapKind.MALFORMED, "the box lists a name that no file can have")
    return name

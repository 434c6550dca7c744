"""The content of named files over SFTP: it travels here, and its digests are made here.

For boxes that run no commands, or have nothing that makes digests. Their times are whole seconds and no ctimes are
shown, so what was written into a file within the second of its listing is not told from what was listed.
"""

from __future__ import annotations

import hashlib
import stat
from collections.abc import Callable, Iterable, Iterator
from functools import partial
from typing import Final, Protocol

from coverage_audit.collectors.hashing import CHANGED_BEFORE, CHANGED_MEANWHILE, Say
from coverage_audit.collectors.pace import Pace
from coverage_audit.collectors.packets import Packets
from coverage_audit.collectors.readers.sftp_tree.names import WHY, entered
from coverage_audit.collectors.readers.sftp_tree.packets import Answer, Code, Kind, piece, to_read
from coverage_audit.collectors.readers.sftp_tree.paths import below, shown
from coverage_audit.collectors.readers.sftp_tree.session import Session
from coverage_audit.collectors.sink import Sink
from coverage_audit.collectors.transport import TransportError
from coverage_audit.evidence.content import HashedFile, NotHashed, Wanted
from coverage_audit.evidence.facts import GapKind
from coverage_audit.evidence.instants import SECOND_NS

_PIECE: Final = 32 << 10  # bytes that every server gives at once (the draft, section 6.4)
_PIECES: Final = 16  # of one file that are under way
_FILES: Final = 4  # that are read at a time: a small one is mostly waiting

Into = tuple[Callable[[bytes], None], Callable[[str | None], None]]


class Hashing(Protocol):
    """A digest that is being made."""

    def digest(self) -> bytes:
        """Return it."""


def hash_over_sftp(packets: Packets, root: str, wanted: Iterable[Wanted], algorithm: str, pace: Pace, say: Say) -> None:
    """Say of each file below `root` (absolute) its digest, or why there is none. What does not fit is passed over.

    Raises OutOfTimeError when the time is over: what was not said by then was not read. Raises TransportError where
    the root cannot be read, or is empty now: then its volume is gone.
    """
    session = _begun(packets, root)
    coming = (one for one in wanted if pace.fits(one.size))

    def following() -> None:
        one = next(coming, None)
        if one is not None:
            hashed = hashlib.new(algorithm, usedforsecurity=False)
            done = partial(_said, say, following, one, hashed)
            _File(session, below(root, one.path), one, (hashed.update, done), pace)

    for _ in range(_FILES):
        following()
    session.run()


def read_over_sftp(packets: Packets, root: str, wanted: Iterable[Wanted], sink: Sink, pace: Pace) -> None:
    """Hand the content of each file below `root` (absolute) to `sink`, one after the other, or why it does not count.

    Raises OutOfTimeError when the time is over, TransportError as above, and whatever the sink raises.
    """
    session = _begun(packets, root)
    for one in wanted:
        sink.begin(one)
        _File(session, below(root, one.path), one, (sink.take, sink.end), pace)
        session.run()


def _begun(packets: Packets, root: str) -> Session:
    session, is_empty = entered(packets, root)
    if is_empty:
        raise TransportError(GapKind.NOT_MOUNTED, f"{shown(root)}: it is empty now")
    return session


def _said(say: Say, following: Callable[[], None], one: Wanted, hashed: Hashing, why: str | None) -> None:
    if why is None:
        say(HashedFile(path=one.path, size=one.size, mtime_ns=one.mtime_ns, ctime_ns=None, digest=hashed.digest()))
    else:
        say(NotHashed(path=one.path, why=why))
    following()


class _File:
    """One file on its way: looked at, opened, looked at, read from its beginning to its end, looked at.

    `into` takes its pieces in their order, then that it is whole (None) or why it does not count.
    """

    def __init__(self, session: Session, place: bytes, one: Wanted, into: Into, pace: Pace) -> None:
        self._session = session
        self._place = place
        self._one = one
        self._pace = pace
        self._give, self._done = into
        self._handle = b""
        self._offsets = self._all_offsets()
        self._held: dict[int, bytes] = {}  # pieces that came before those in front of them
        self._next = 0
        self._under_way = 0
        self._why: str | None = None
        session.ask(self._looked_at, Kind.LSTAT, place)

    def _all_offsets(self) -> Iterator[int]:
        return iter(range(0, self._one.size, _PIECE))

    def _looked_at(self, answer: Answer) -> None:
        why = self._differs(answer, CHANGED_BEFORE)
        if why is None:
            self._session.ask(self._opened, Kind.OPEN, self._place, more=to_read())
        else:
            self._end(why)

    def _opened(self, answer: Answer) -> None:
        code = answer.code()
        if code is not None:
            self._end(_said_by(code))
            return
        self._handle = answer.handle()
        self._session.ask(self._seen_open, Kind.FSTAT, self._handle)

    def _seen_open(self, answer: Answer) -> None:
        self._why = self._differs(answer, CHANGED_BEFORE)
        self._read_on()

    def _read_on(self) -> None:
        while self._why is None and self._under_way < _PIECES and (offset := next(self._offsets, None)) is not None:
            self._ask(offset, min(_PIECE, self._one.size - offset))
        if not self._under_way:
            self._session.ask(self._seen_read, Kind.FSTAT, self._handle)

    def _ask(self, offset: int, size: int) -> None:
        self._under_way += 1
        self._session.ask(partial(self._came, offset, size), Kind.READ, self._handle, more=piece(offset, size))

    def _came(self, offset: int, size: int, answer: Answer) -> None:
        self._under_way -= 1
        code = answer.code()
        if code is not None:
            self._why = CHANGED_MEANWHILE if code == Code.EOF else _said_by(code)
        else:
            data = answer.data()
            if not 0 < len(data) <= size:
                raise TransportError(GapKind.MALFORMED, "the box gives another piece of a file than was asked for")
            if len(data) < size:
                self._ask(offset + len(data), size - len(data))
            self._take(offset, data)
        self._read_on()

    def _take(self, offset: int, data: bytes) -> None:
        self._held[offset] = data
        while (held := self._held.pop(self._next, None)) is not None:
            self._give(held)
            self._next += len(held)
        self._pace.took(len(data))

    def _seen_read(self, answer: Answer) -> None:
        self._why = self._why or self._differs(answer, CHANGED_MEANWHILE)
        self._session.ask(self._closed, Kind.CLOSE, self._handle)

    def _closed(self, _answer: Answer) -> None:
        self._end(self._why)

    def _end(self, why: str | None) -> None:
        if why is None and self._next != self._one.size:
            raise TransportError(GapKind.MALFORMED, "the box gave a file in pieces that do not make a whole")
        self._done(why)

    def _differs(self, answer: Answer, how: str) -> str | None:
        """Say why what is there is not the file that was listed (None: it is)."""
        code = answer.code()
        if code is not None:
            return _said_by(code)
        seen = answer.attributes()
        listed = self._one.mtime_ns // SECOND_NS & 0xFFFFFFFF  # as a server keeps them
        is_same = (
            seen.mode is not None and stat.S_ISREG(seen.mode) and (seen.size, seen.mtime) == (self._one.size, listed)
        )
        return None if is_same else how


def _said_by(code: int) -> str:
    return WHY.get(code, f"it cannot be read (SFTP status {code})")

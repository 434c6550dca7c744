"""Reading named files back out of a copy, over the copy's own way: here, through the gate, or over SFTP."""

from __future__ import annotations

import errno
import os
import secrets
import stat
from collections.abc import Callable, Sequence
from typing import Final

from coverage_audit.collectors.errands import Back, ReadBack
from coverage_audit.collectors.file_figures import NO_FILE
from coverage_audit.collectors.hashing import CHANGED_BEFORE, CHANGED_MEANWHILE
from coverage_audit.collectors.opening_files import Opener, past_memory
from coverage_audit.collectors.pace import OutOfTimeError, Pace
from coverage_audit.collectors.readers import content
from coverage_audit.collectors.readers.content import ContentStream
from coverage_audit.collectors.readers.digests import is_about_a_path
from coverage_audit.collectors.readers.sftp_tree import read_over_sftp
from coverage_audit.collectors.reading_here import still_there
from coverage_audit.collectors.scratch import Scratch
from coverage_audit.collectors.sink import Sink
from coverage_audit.collectors.transport import Transport, TransportError
from coverage_audit.collectors.ways import Ways
from coverage_audit.estate.access import LocalAccess
from coverage_audit.evidence.content import Wanted
from coverage_audit.evidence.drilling import FileBack
from coverage_audit.evidence.facts import GapKind

HERE: Final = "on this machine"
BY_GATE: Final = "over SSH, sent by the gate"
BY_SFTP: Final = "over SFTP"

_PIECE: Final = 1 << 20
_REPLACED: Final = frozenset({errno.ENOTDIR, errno.ELOOP})  # a part of the path is a link by now


def read_wanted(errand: ReadBack, transport: Transport, send: Callable[[Back], None]) -> None:
    """Read all files of an errand; each is told as soon as it is known.

    Raises TransportError where the device cannot be asked, does not let content be sent (REFUSED), is too slow, or
    where the scratch disk fails (STORAGE): what was not told by then was not read.
    """
    told = 0
    way = HERE

    def say(one: FileBack) -> None:
        nonlocal told
        told += 1
        send(Back(file=one, read=scratch.read, seconds=scratch.seconds, way=way))

    scratch = Scratch(errand.scratch, errand.algorithms, say)
    ways = Ways(transport, lambda: errand.deadline)
    try:
        if isinstance(errand.device.access, LocalAccess):
            read_here(still_there(errand.root), errand.wanted, scratch, Pace(until=errand.deadline))
            return
        if ways.tools() is not None:
            way = BY_GATE
            try:
                _by_gate(errand, transport, scratch)
            except TransportError as error:
                if error.kind is not GapKind.NO_TOOL or told:
                    raise
            else:
                return
        way = BY_SFTP
        with ways.open_sftp(errand.deadline) as packets:
            read_over_sftp(packets, errand.root, errand.wanted, scratch, Pace(until=errand.deadline))
    except OutOfTimeError as error:
        raise TransportError(GapKind.TIME_LIMIT, "the files were not read back within the time limit") from error
    finally:
        scratch.close()


def read_here(root: str, wanted: Sequence[Wanted], sink: Sink, pace: Pace) -> None:
    """Hand the content of each file below `root` on this machine to `sink`, or why it does not count.

    No link is followed below the root. Raises OutOfTimeError, and whatever the sink raises.
    """
    for one in wanted:
        sink.begin(one)
        try:
            with Opener(root) as opener:
                descriptor = opener.open(one.path)
        except OSError as error:
            sink.end(NO_FILE if error.errno in _REPLACED else error.strerror or str(error))
            continue
        try:
            sink.end(_read(descriptor, one, sink, pace))
        finally:
            os.close(descriptor)


def _read(descriptor: int, one: Wanted, sink: Sink, pace: Pace) -> str | None:
    """Hand on as many bytes as were listed; say why they do not count (None: they do)."""
    before = os.fstat(descriptor)
    if not stat.S_ISREG(before.st_mode):
        return NO_FILE
    if (before.st_size, before.st_mtime_ns) != (one.size, one.mtime_ns):
        return CHANGED_BEFORE
    past_memory(descriptor)
    left = one.size
    while left:
        try:
            piece = os.read(descriptor, min(_PIECE, left))
        except OSError as error:
            return error.strerror or str(error)
        if not piece:
            return CHANGED_MEANWHILE
        sink.take(piece)
        left -= len(piece)
        pace.took(len(piece))
    after = os.fstat(descriptor)
    same = (before.st_size, before.st_mtime_ns, before.st_ctime_ns) == (
        after.st_size,
        after.st_mtime_ns,
        after.st_ctime_ns,
    )
    return None if same else CHANGED_MEANWHILE


def _by_gate(errand: ReadBack, transport: Transport, sink: Sink) -> None:
    for batch in content.batches(errand.root, errand.wanted):
        _ask(errand, batch, transport, sink)


def _ask(errand: ReadBack, files: Sequence[Wanted], transport: Transport, sink: Sink) -> None:
    """Ask the gate. It refuses a request for one path that leads out of the root by now: the others get theirs."""
    counting = _Counting(sink)
    nonce = secrets.token_hex(16)
    try:
        with transport.open_request(content.request(errand.root, files, nonce), deadline=errand.deadline) as stream:
            answer = ContentStream(errand.root, files, nonce, counting)
            for piece in stream:
                answer.feed(piece)
            answer.end(stream.exit_status)
    except TransportError as error:
        if not is_about_a_path(error):
            raise
        rest = files[counting.ended :]
        if len(rest) == 1:
            sink.begin(rest[0])
            sink.end(error.detail)
            return
        for half in (rest[: len(rest) // 2], rest[len(rest) // 2 :]):
            _ask(errand, half, transport, sink)


class _Counting:
    """A sink before another one that counts the files that are over."""

    def __init__(self, sink: Sink) -> None:
        self._sink = sink
        self.ended = 0

    def begin(self, one: Wanted) -> None:
        self._sink.begin(one)

    def take(self, piece: bytes) -> None:
        self._sink.take(piece)

    def end(self, why: str | None) -> None:
        self.ended += 1
        self._sink.end(why)

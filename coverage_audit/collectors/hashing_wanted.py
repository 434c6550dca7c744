"""A worker's errand on content: files are read one after the other, and what came of them is said as it comes."""

from __future__ import annotations

import time
from collections.abc import Callable
from typing import TYPE_CHECKING, Final

from coverage_audit.collectors.errands import AskDigests, CanDigest, Counted, Hashed, HashFiles, Word
from coverage_audit.collectors.pace import OutOfTimeError, Pace
from coverage_audit.collectors.reading_here import read_here
from coverage_audit.collectors.transport import Transport
from coverage_audit.estate.access import LocalAccess
from coverage_audit.estate.limits import Limits
from coverage_audit.evidence.content import ALGORITHMS, HashedFile, NotHashed, Wanted

if TYPE_CHECKING:
    from coverage_audit.collectors.reading_content import ContentReader

_MOST: Final = 4096  # files that one word tells of
_LONGEST: Final = 0.5  # seconds that something known waits to be said


def digests_of(errand: AskDigests, transport: Transport) -> CanDigest:
    """Find out which digests can be had. Raises TransportError."""
    if isinstance(errand.device.access, LocalAccess):
        return CanDigest(algorithms=ALGORITHMS)
    return CanDigest(algorithms=_reader(errand, transport).algorithms())


def hash_wanted(errand: HashFiles, transport: Transport, send: Callable[[Word], None]) -> None:
    """Read every file that fits the time; the rest is not told of. Raises TransportError once what is known is said."""
    pace = Pace(until=time.monotonic() + errand.budget, rate=errand.rate)
    wanted = [Wanted(path=path, size=size, mtime_ns=mtime_ns) for path, size, mtime_ns in errand.files]
    teller = _Teller(errand, pace, send)
    try:
        if isinstance(errand.device.access, LocalAccess):
            read_here(errand.algorithm, errand.root, wanted, pace, teller)
        else:
            _reader(errand, transport).read(errand.algorithm, errand.root, wanted, pace, teller)
    except OutOfTimeError:
        pass  # what was not told of is left for another time
    finally:
        teller.tell()


def _reader(errand: HashFiles | AskDigests, transport: Transport) -> ContentReader:
    # Only here: what speaks with other boxes takes a third of a second to import, which files of this machine need not.
    from coverage_audit.collectors.reading_content import ContentReader  # noqa: PLC0415 - see the line above
    from coverage_audit.collectors.ways import Ways  # noqa: PLC0415 - likewise

    return ContentReader(errand.device, transport, Ways(transport, lambda: _soon(errand.limits)))


def _soon(limits: Limits) -> float:
    return time.monotonic() + limits.read_time.total_seconds()


class _Teller:
    """Gathers what comes of files into words, so that a worker that dies loses half a second's work at most."""

    def __init__(self, errand: HashFiles, pace: Pace, send: Callable[[Word], None]) -> None:
        self._numbers = {path: number for number, (path, _, _) in enumerate(errand.files)}
        self._root = errand.root
        self._pace = pace
        self._send = send
        self._files: list[tuple[int, int | None, bytes]] = []
        self._without: list[tuple[int, str]] = []
        self._told = time.monotonic()
        self._count = 0
        self._bytes = 0

    def __call__(self, outcome: HashedFile | NotHashed) -> None:
        number = self._numbers[outcome.path]
        if isinstance(outcome, HashedFile):
            self._files.append((number, outcome.ctime_ns, outcome.digest))
        else:
            self._without.append((number, outcome.why))
        waiting = len(self._files) + len(self._without)
        if waiting >= _MOST or time.monotonic() - self._told >= _LONGEST:
            self.tell()

    def tell(self) -> None:
        """Say what is known and was not said yet."""
        self._count += len(self._files) + len(self._without)
        word = Hashed(
            files=tuple(self._files),
            without=tuple(self._without),
            seconds=self._pace.seconds,
            bytes=self._pace.bytes - self._bytes,
        )
        self._bytes += word.bytes
        self._files, self._without, self._told = [], [], time.monotonic()
        self._send(word)
        self._send(Counted(subject=self._root, entries=self._count))

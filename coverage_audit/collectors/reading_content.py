"""Reading the content of named files of a connected device, on the device itself where it has the means."""

from __future__ import annotations

import secrets
from collections.abc import Iterator, Sequence
from typing import Final

from coverage_audit.collectors.hashing import Say
from coverage_audit.collectors.pace import OutOfTimeError, Pace
from coverage_audit.collectors.readers import digests
from coverage_audit.collectors.readers.sftp_tree import hash_over_sftp
from coverage_audit.collectors.reading_here import read_here
from coverage_audit.collectors.replies import reply_to
from coverage_audit.collectors.transport import Transport, TransportError
from coverage_audit.collectors.ways import Ways
from coverage_audit.estate.access import LocalAccess
from coverage_audit.estate.model import Device
from coverage_audit.evidence.content import ALGORITHMS, NotHashed, Wanted
from coverage_audit.evidence.facts import GapKind

_AT_A_TIME: Final = 5.0  # seconds at the allowed rate that one request to a gate reads at most


class ContentReader:
    """Reads files of one connected device; what makes the digests is found out once."""

    def __init__(self, device: Device, transport: Transport, ways: Ways) -> None:
        self._is_local = isinstance(device.access, LocalAccess)
        self._transport = transport
        self._ways = ways

    def algorithms(self) -> tuple[str, ...]:
        """Return what can be had of this device's files, the best first. Raises TransportError."""
        if self._is_local:
            return ALGORITHMS
        tools = self._ways.tools()
        usable = ALGORITHMS if tools is None else tools.digests
        return tuple(name for name in ALGORITHMS if name in usable) or self._over_sftp()

    def _over_sftp(self) -> tuple[str, ...]:
        try:
            self._ways.require_sftp()
        except TransportError:
            return ()
        return ALGORITHMS

    def read(self, algorithm: str, root: str, wanted: Sequence[Wanted], pace: Pace, say: Say) -> None:
        """Say of each file below `root` its digest, or why there is none. What does not fit the time is passed over.

        Raises OutOfTimeError when the time is over, TransportError where the device cannot be asked, or (REFUSED)
        does not let content be read: what was not said by then was not read.
        """
        try:
            if self._is_local:
                read_here(algorithm, root, wanted, pace, say)
            elif self._has(algorithm):
                self._by_gate(algorithm, root, wanted, pace, say)
            else:
                with self._ways.open_sftp(pace.until) as packets:
                    hash_over_sftp(packets, root, wanted, algorithm, pace, say)
        except TransportError as error:
            if error.kind is GapKind.TIME_LIMIT and pace.is_over:
                raise OutOfTimeError("the time for reading content is over") from error
            raise

    def _has(self, algorithm: str) -> bool:
        tools = self._ways.tools()
        return tools is not None and algorithm in tools.digests

    def _by_gate(self, algorithm: str, root: str, wanted: Sequence[Wanted], pace: Pace, say: Say) -> None:
        for batch in digests.batches(algorithm, root, wanted):
            for part in _in_time(batch, pace):
                self._ask(algorithm, root, part, pace, say)
                pace.took(sum(one.size for one in part))

    def _ask(self, algorithm: str, root: str, files: Sequence[Wanted], pace: Pace, say: Say) -> None:
        """Ask the gate. It refuses a request for one path that leads out of the root by now: the others get theirs."""
        nonce = secrets.token_hex(16)
        asked = digests.request(algorithm, root, files, nonce)
        reply = reply_to(self._transport, asked, deadline=pace.until)
        try:
            told = digests.parse(
                reply.text, reply.exit_status, nonce=nonce, algorithm=algorithm, root=root, wanted=files
            )
        except TransportError as error:
            if not digests.is_about_a_path(error):
                raise
            if len(files) == 1:
                say(NotHashed(path=files[0].path, why=error.detail))
                return
            for half in (files[: len(files) // 2], files[len(files) // 2 :]):
                self._ask(algorithm, root, half, pace, say)
            return
        for one in told:
            say(one)


def _in_time(batch: Sequence[Wanted], pace: Pace) -> Iterator[tuple[Wanted, ...]]:
    """Cut a batch into requests that read for a few seconds at the allowed rate, or a single file each."""
    most = None if pace.rate is None else pace.rate * _AT_A_TIME
    part: list[Wanted] = []
    size = 0
    for one in batch:
        if part and most is not None and size + one.size > most:
            yield tuple(part)
            part, size = [], 0
        if pace.fits(size + one.size):
            part.append(one)
            size += one.size
    if part:
        yield tuple(part)

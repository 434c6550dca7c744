"""Requests on the auditor's own machine: each in a process group of its own, ended at its deadline."""

from __future__ import annotations

import contextlib
import fcntl
import os
import select
import signal
import subprocess
import tempfile
import time
from collections.abc import Iterator
from types import TracebackType
from typing import IO, Final, Self

from coverage_audit.collectors.gate_text import gate_text
from coverage_audit.collectors.requests import Request
from coverage_audit.collectors.transport import CHUNK, GATHERING, SMALL, KeptComplaints, TransportError
from coverage_audit.evidence.facts import GapKind

_STATUS_GRACE: Final = 5.0  # seconds for a command that closed its output to end
_QUIET_GRACE: Final = 2.0  # seconds to go on listening after the command ended: a child may hold its output open
_TICK: Final = 0.5  # seconds between two looks at whether the command has ended


class LocalTransport:
    """Puts requests to the gate by `sh -s` on this machine; `gate` is another text than the shipped one."""

    def __init__(self, gate: bytes | None = None) -> None:
        self._gate = gate

    @property
    def host_key(self) -> None:
        """No key: nothing lies between the auditor and itself."""
        return

    def open_request(self, request: Request, *, deadline: float) -> LocalStream:
        """Start the gate on a request; see `Transport.open_request`."""
        text = gate_text() if self._gate is None else self._gate
        try:
            # A process group of its own, so that grandchildren end with it; the session stays the worker's, so
            # that whoever ends a hung worker finds them.
            with tempfile.TemporaryFile() as gate:  # a file of its own: nobody waits for it to be read
                gate.write(text)
                gate.seek(0)
                process = subprocess.Popen(
                    ["/bin/sh", "-s", "--", *request.words],
                    stdin=gate,
                    stdout=subprocess.PIPE,
                    stderr=subprocess.PIPE,
                    process_group=0,
                )
        except (OSError, ValueError) as error:
            raise TransportError(GapKind.NO_SHELL, f"cannot run /bin/sh on this machine: {error}") from error
        return LocalStream(process, deadline)

    def __enter__(self) -> Self:
        """Return the transport itself."""
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        """Nothing is held open between commands."""


class LocalStream:
    """The output of one running command; see `Stream`."""

    def __init__(self, process: subprocess.Popen[bytes], deadline: float) -> None:
        self._process = process
        self._deadline = deadline
        self._complaints = KeptComplaints()
        self._status: int | None = None

    @property
    def exit_status(self) -> int | None:
        """See `Stream`; None for a command that a signal ended."""
        return self._status

    @property
    def stderr(self) -> bytes:
        """See `Stream`."""
        return self._complaints.kept

    @property
    def stderr_dropped(self) -> int:
        """See `Stream`."""
        return self._complaints.dropped

    def __iter__(self) -> Iterator[bytes]:
        """Give standard output piece by piece while complaints are drained beside it."""
        stdout, stderr = _piped(self._process.stdout), _piped(self._process.stderr)
        _make_wide(stdout)
        poller = select.poll()
        for pipe in (stdout, stderr):
            poller.register(pipe, select.POLLIN)
        still_open = {stdout, stderr}
        heard = time.monotonic()
        while still_open:
            events = poller.poll(self._patience() * 1000)
            for pipe, _ in events:
                piece = os.read(pipe, CHUNK)
                heard = time.monotonic()
                if not piece:
                    poller.unregister(pipe)
                    still_open.discard(pipe)
                elif pipe == stderr:
                    self._complaints.add(piece)
                else:
                    yield piece
                    if len(piece) < SMALL:
                        time.sleep(GATHERING)
            if not events and self._process.poll() is not None and time.monotonic() - heard > _QUIET_GRACE:
                break  # it ended; something that it left behind holds the pipe
        self._status = self._settled()

    def _patience(self) -> float:
        left = self._deadline - time.monotonic()
        if left <= 0:
            raise _too_late()
        return min(left, _TICK)

    def _settled(self) -> int | None:
        grace = min(_STATUS_GRACE, max(0.0, self._deadline - time.monotonic()))
        try:
            status = self._process.wait(grace)
        except subprocess.TimeoutExpired:
            raise _too_late() from None
        return status if status >= 0 else None

    def __enter__(self) -> Self:
        """Return the stream itself."""
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        """Kill the command and its children; never wait for one that a dead mount holds."""
        with contextlib.suppress(ProcessLookupError, PermissionError):
            os.killpg(self._process.pid, signal.SIGKILL)
        for pipe in (self._process.stdout, self._process.stderr):
            if pipe is not None:
                pipe.close()
        with contextlib.suppress(subprocess.TimeoutExpired):
            self._process.wait(0.5)


def _piped(pipe: IO[bytes] | None) -> int:
    if pipe is None:
        raise TransportError(GapKind.NO_SHELL, "a command was started without its pipes")
    return pipe.fileno()


def _make_wide(pipe: int) -> None:
    # A listing of a million entries moves in a few hundred pieces then, not in thousands.
    with contextlib.suppress(OSError, AttributeError):
        fcntl.fcntl(pipe, fcntl.F_SETPIPE_SZ, CHUNK)


def _too_late() -> TransportError:
    return TransportError(GapKind.TIME_LIMIT, "the command did not end within the time limit")

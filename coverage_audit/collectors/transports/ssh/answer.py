"""The answer of one command over a channel: total deadline, silence limit, both outputs read all the time."""

from __future__ import annotations

import threading
import time
from collections.abc import Callable, Iterator
from types import TracebackType
from typing import Final, Self

import paramiko

from coverage_audit.collectors.transport import CHUNK, GATHERING, SMALL, KeptComplaints, TransportError
from coverage_audit.evidence.facts import GapKind

_TICK: Final = 0.5  # seconds between two looks at whether the command has ended
_QUIET_GRACE: Final = 5.0  # seconds to go on listening after the exit status: a child may hold the output open
_STATUS_GRACE: Final = 5.0  # seconds for the exit status to come after the end of the output


class SshAnswer:
    """The output of one running command; see `Stream`. `done` is called once, when its channel is closed."""

    def __init__(
        self, channel: paramiko.Channel, *, place: str, deadline: float, read_time: float, done: Callable[[], None]
    ) -> None:
        self._channel = channel
        self._place = place
        self._deadline = deadline
        self._read_time = read_time
        self._done = done
        self._complaints = KeptComplaints()
        self._drained = threading.Thread(target=self._drain, name="complaints", daemon=True)
        self._status: int | None = None
        channel.settimeout(_TICK)
        self._drained.start()

    @property
    def exit_status(self) -> int | None:
        """See `Stream`; None also when a signal ended the command."""
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
        """Give standard output piece by piece as it comes."""
        heard = time.monotonic()
        while True:
            self._keep_time()
            try:
                piece = self._channel.recv(CHUNK)
            except TimeoutError:
                silent = time.monotonic() - heard
                if self._channel.exit_status_ready() and silent > _QUIET_GRACE:
                    break  # it ended; something that it left behind holds the output open
                if silent > self._read_time:
                    raise self._too_late(f"was silent for {self._read_time:.0f} s in the middle of an answer") from None
                continue
            if not piece:
                break
            yield piece
            if len(piece) < SMALL and not self._channel.eof_received:
                time.sleep(GATHERING)
            heard = time.monotonic()
        self._settle()

    def _settle(self) -> None:
        until = min(time.monotonic() + _STATUS_GRACE, self._deadline)
        while not self._channel.status_event.wait(min(_TICK, max(0.0, until - time.monotonic()))):
            self._keep_time()
            if time.monotonic() >= until:
                break
        status = self._channel.exit_status if self._channel.status_event.is_set() else -1
        if status >= 0:
            self._status = status
        elif not self._connected():
            raise TransportError(GapKind.CUT, f"the connection to {self._place} was cut in the middle of an answer")
        self._drained.join(_STATUS_GRACE)

    def _connected(self) -> bool:
        transport = self._channel.get_transport()
        return transport.is_active()

    def _keep_time(self) -> None:
        if time.monotonic() >= self._deadline:
            raise self._too_late("did not finish its answer within the time limit")

    def _too_late(self, what: str) -> TransportError:
        return TransportError(GapKind.TIME_LIMIT, f"{self._place} {what}")

    def _drain(self) -> None:
        # Unread complaints fill the channel's window and stop the command, so they are read whatever happens.
        while True:
            try:
                piece = self._channel.recv_stderr(CHUNK)
            except TimeoutError:
                if self._channel.closed:
                    return
                continue
            except (OSError, EOFError, paramiko.SSHException):
                return
            if not piece:
                return
            self._complaints.add(piece)

    def __enter__(self) -> Self:
        """Return the stream itself."""
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        """Close the channel, which takes the output away from a command that still writes."""
        try:
            self._channel.close()
        except (OSError, EOFError, paramiko.SSHException):
            pass  # the connection is gone, and the channel with it
        finally:
            self._done()

"""A conversation over the SFTP subsystem: packets with their length before them, both limits of time kept.

The library's own client reads names as text and fails on those that are none; so only its channel is used here.
"""

from __future__ import annotations

import time
from collections.abc import Callable
from types import TracebackType
from typing import Final, Self

import paramiko

from coverage_audit.collectors.transport import CHUNK, TransportError
from coverage_audit.evidence.facts import GapKind

_HEAD: Final = 4  # bytes of a packet's length
_LONGEST: Final = 1 << 20  # bytes of a packet; servers keep to a quarter of it (draft-ietf-secsh-filexfer-02: 34,000)


class SftpPackets:
    """See `Packets`. `done` is called once, when the channel is closed."""

    def __init__(
        self, channel: paramiko.Channel, *, place: str, deadline: float, read_time: float, done: Callable[[], None]
    ) -> None:
        self._channel = channel
        self._place = place
        self._deadline = deadline
        self._read_time = read_time
        self._done = done
        self._heard = bytearray()

    def send(self, packet: bytes) -> None:
        """See `Packets`."""
        self._keep_time()
        try:
            self._channel.sendall(len(packet).to_bytes(_HEAD, "big") + packet)
        except TimeoutError as error:
            raise self._too_late() from error
        except (OSError, EOFError, paramiko.SSHException) as error:
            raise self._cut() from error

    def receive(self) -> bytes:
        """See `Packets`."""
        self._hear(_HEAD)
        length = int.from_bytes(self._heard[:_HEAD], "big")
        if not 0 < length <= _LONGEST:
            raise TransportError(GapKind.MALFORMED, f"{self._place} says something over SFTP that is no packet")
        self._hear(_HEAD + length)
        packet = bytes(self._heard[_HEAD : _HEAD + length])
        del self._heard[: _HEAD + length]
        return packet

    def _hear(self, size: int) -> None:
        while len(self._heard) < size:
            self._keep_time()
            try:
                piece = self._channel.recv(CHUNK)
            except TimeoutError as error:
                raise self._too_late() from error
            except (OSError, EOFError, paramiko.SSHException) as error:
                raise self._cut() from error
            if not piece:
                raise self._cut()
            self._heard += piece

    def _keep_time(self) -> None:
        left = self._deadline - time.monotonic()
        if left <= 0:
            raise self._too_late()
        self._channel.settimeout(min(self._read_time, left))

    def _too_late(self) -> TransportError:
        return TransportError(GapKind.TIME_LIMIT, f"{self._place} did not finish its answers over SFTP in time")

    def _cut(self) -> TransportError:
        return TransportError(GapKind.CUT, f"{self._place} ended the conversation over SFTP in the middle")

    def __enter__(self) -> Self:
        """Return the conversation itself."""
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        """Close the channel."""
        try:
            self._channel.close()
        except (OSError, EOFError, paramiko.SSHException):
            pass  # the connection is gone, and the channel with it
        finally:
            self._done()

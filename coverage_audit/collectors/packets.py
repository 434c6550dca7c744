"""A conversation in packets with a box that offers its files over SFTP; what they say is the reader's affair."""

from __future__ import annotations

from types import TracebackType
from typing import Protocol, Self, runtime_checkable


class Packets(Protocol):
    """One open conversation. Leaving the context ends it."""

    def send(self, packet: bytes) -> None:
        """Send a packet. Raises TransportError: TIME_LIMIT or CUT."""

    def receive(self) -> bytes:
        """Wait for the next packet.

        Raises TransportError: TIME_LIMIT at the deadline or when the box is silent for too long, CUT when the
        connection ends, MALFORMED where what comes is no packet.
        """

    def __enter__(self) -> Self:
        """Return the conversation itself."""

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        """End it."""


@runtime_checkable
class OffersFiles(Protocol):
    """A transport that can open such a conversation."""

    def open_sftp(self, *, deadline: float) -> Packets:
        """Open one; `deadline` is on the clock of time.monotonic().

        Raises TransportError: NO_TOOL where the box has no SFTP for this account.
        """

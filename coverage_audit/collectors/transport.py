"""What a reader's request goes through: the same few methods for this machine and for a box over SSH.

A transport moves bytes and knows no format. It proves nothing by itself: whoever reads a stream decides by
its own markers, its count and `exit_status` whether the answer was whole.
"""

from __future__ import annotations

from collections.abc import Iterator
from types import TracebackType
from typing import Final, Protocol, Self

from coverage_audit.collectors.requests import Request
from coverage_audit.errors import CollectionError
from coverage_audit.evidence.facts import GapKind

CHUNK: Final = 1 << 20
"""The largest piece of an answer that a stream hands out, in bytes."""

GATHERING: Final = 0.005
"""Seconds to wait after a small piece: an answer that flows then comes in hundreds of kilobytes, not in thousands of
small pieces that each cost a change of threads and a look by the reader."""

SMALL: Final = 256 << 10
"""What a small piece is, in bytes."""

STDERR_KEPT: Final = 64 << 10
"""How many bytes of a command's complaints are kept; the rest is drained and counted."""


class TransportError(CollectionError):
    """A box could not be asked. `kind` says why, `detail` says it to a person, with the way to mend it."""

    def __init__(self, kind: GapKind, detail: str) -> None:
        super().__init__(detail)
        self.kind = kind
        self.detail = detail

    def __reduce__(self) -> tuple[type[TransportError], tuple[GapKind, str]]:
        """Let it travel from a worker process to its parent."""
        return type(self), (self.kind, self.detail)


class Stream(Protocol):
    """The answer of one request. Leaving the context ends the command if it still runs."""

    @property
    def exit_status(self) -> int | None:
        """The command's exit status once the stream is exhausted; None: none came (killed by a signal)."""

    @property
    def stderr(self) -> bytes:
        """The first 64 KiB of the command's complaints."""

    @property
    def stderr_dropped(self) -> int:
        """How many bytes of complaints were drained and not kept."""

    def __iter__(self) -> Iterator[bytes]:
        """Give standard output in pieces of at most 1 MiB.

        Raises TransportError: TIME_LIMIT at the deadline or when the box is silent for too long, CUT when the
        connection ends in the middle.
        """

    def __enter__(self) -> Self:
        """Return the stream itself."""

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        """End the command and free what it held."""


class Transport(Protocol):
    """A way to put requests to the gate of one device. It is left as a context, which closes the connection."""

    @property
    def host_key(self) -> str | None:
        """The fingerprint "SHA256:…" of the key by which the box proved itself; None on this machine."""

    def open_request(self, request: Request, *, deadline: float) -> Stream:
        """Put a request to the gate; `deadline` is on the clock of time.monotonic().

        The gate's text goes to the standard input of the request's command; a gate that is installed ignores it.
        Raises TransportError when the command cannot be started, CollectionError when the request is too long.
        """

    def __enter__(self) -> Self:
        """Return the transport itself."""

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        """Close the connection."""


class KeptComplaints:
    """Standard error as it is drained: the first 64 KiB, and the count of what came after."""

    def __init__(self) -> None:
        self._kept = bytearray()
        self.dropped = 0

    def add(self, piece: bytes) -> None:
        """Take one more piece."""
        room = STDERR_KEPT - len(self._kept)
        self._kept += piece[:room]
        self.dropped += max(0, len(piece) - room)

    @property
    def kept(self) -> bytes:
        """The first 64 KiB."""
        return bytes(self._kept)

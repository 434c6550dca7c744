"""A short reply, read whole: bounded in time and in size."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from coverage_audit.collectors.requests import Request
from coverage_audit.collectors.transport import Transport, TransportError
from coverage_audit.evidence.facts import GapKind

_LONGEST: Final = 64 << 20
"""Bytes; a box that prints on and on must not fill the auditor's memory."""


@dataclass(frozen=True, kw_only=True)
class Reply:
    """What the gate printed and how it ended."""

    text: bytes
    exit_status: int | None


def reply_to(transport: Transport, request: Request, *, deadline: float) -> Reply:
    """Put a request and return its whole reply.

    Raises TransportError when the box cannot be asked, is too slow or does not stop printing.
    """
    pieces: list[bytes] = []
    size = 0
    with transport.open_request(request, deadline=deadline) as stream:
        for piece in stream:
            pieces.append(piece)
            size += len(piece)
            if size > _LONGEST:
                raise TransportError(
                    GapKind.MALFORMED, f"an answer of more than {_LONGEST >> 20} MiB to a short question"
                )
        return Reply(text=b"".join(pieces), exit_status=stream.exit_status)

"""How the gate's answer is framed, so that noise before it and a cut in it are told from an answer.

Start files of a login shell may print before the begin marker; nothing may follow the end marker, and without it there
is no answer. The nonce is drawn anew for each request: nothing that a box has printed before can pass for a marker.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from typing import Final

from coverage_audit.collectors.transport import TransportError
from coverage_audit.evidence.facts import GapKind
from coverage_audit.evidence.visible import visible

REFUSED_STATUS: Final = 77
"""The status of a gate that refuses."""

MODES: Final = (b"sent", b"installed")
"""How the gate came to the box: with the request, or as the forced command of the auditor's key."""

_QUOTED: Final = 120  # bytes of a strange reply that a message repeats


def beginning(nonce: str) -> bytes:
    """Return how the begin marker begins; one of `MODES` and a NUL follow."""
    return f"B {nonce} ".encode("ascii")


def ending(nonce: str, status: int) -> bytes:
    """Return the end marker."""
    return f"E {nonce} {status}\0".encode("ascii")


def fields(reply: bytes, exit_status: int | None, nonce: str) -> tuple[bytes, ...]:
    """Return the NUL-ended fields between the markers.

    Raises TransportError: `refused` where the gate refuses, `no shell` where something ended without ever having run
    the gate, `cut` where no exit status came, `malformed` where the end marker is missing or denies the status.
    """
    if exit_status is None:
        raise TransportError(GapKind.CUT, "the connection ended before the answer did")
    refused = refusal(reply, exit_status, nonce)
    if refused is not None:
        raise refused
    _noise, found, rest = reply.partition(beginning(nonce))
    if not found:
        raise TransportError(GapKind.NO_SHELL, f"status {exit_status}, and no answer but {_excerpt(reply)}")
    mode, _, inner = rest.partition(b"\0")
    end = ending(nonce, exit_status)
    if exit_status != 0 or mode not in MODES or not inner.endswith(end):
        raise TransportError(GapKind.MALFORMED, f"status {exit_status}; the answer has no end")
    inner = inner.removesuffix(end)
    if inner and not inner.endswith(b"\0"):
        raise TransportError(GapKind.MALFORMED, "the answer's last field has no end")
    return tuple(inner[:-1].split(b"\0")) if inner else ()


def refusal(reply: bytes, exit_status: int | None, nonce: str) -> TransportError | None:
    """Return the gate's refusal where the reply is one; what was printed before it does not count."""
    if exit_status != REFUSED_STATUS:
        return None
    # A request that the gate could not even take apart has no nonce; its refusal has a dash for it.
    found = re.search(rb"\0R (%s|-) ([^\0]*)\0E \1 77\0\Z" % nonce.encode("ascii"), reply)
    return TransportError(GapKind.REFUSED, f"the gate refuses: {visible(found.group(2))}") if found else None


def pairs(values: tuple[bytes, ...]) -> Iterator[tuple[str, bytes]]:
    """Return names and values in order. Raises TransportError where a value is missing."""
    if len(values) % 2:
        raise TransportError(GapKind.MALFORMED, "the answer has a name without a value")
    for at in range(0, len(values), 2):
        yield values[at].decode("ascii", "backslashreplace"), values[at + 1]


def shown(value: bytes | None) -> str | None:
    """Return a fact as text without surrounding blanks, or None where nothing was shown."""
    if value is None:
        return None
    return value.strip().decode("utf-8", "backslashreplace") or None


def _excerpt(reply: bytes) -> str:
    return repr(visible(reply[:_QUOTED])) if reply else "nothing"

"""How a short reply is framed, so that noise before it and a cut in it are told from an answer.

A reader wraps its commands in `framed`; what comes back is read with `fields`. Start files of a login shell may
print before the begin marker; nothing may follow the end marker, and without it there is no answer. The
nonce is drawn anew for each question: nothing that a box has printed before can pass for a marker.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Final

from coverage_audit.collectors.transport import TransportError
from coverage_audit.evidence.facts import GapKind
from coverage_audit.evidence.visible import visible

_PROLOGUE: Final = b"""LC_ALL=C; export LC_ALL
PATH="$PATH:/usr/local/sbin:/usr/sbin:/sbin"; export PATH
say() { printf '%s\\0%s\\0' "$1" "$2"; }
text() { if [ -r "$2" ]; then say "$1" "$(cat "$2" 2>/dev/null)"; fi; }
"""
_QUOTED: Final = 120  # bytes of a strange reply that a message repeats


def quoted(value: bytes) -> bytes:
    """Quote any bytes (but NUL) as one word of a POSIX shell (POSIX.1-2017, 2.2.2 single quotes)."""
    return b"'" + value.replace(b"'", b"'\\''") + b"'"


def framed(body: bytes, nonce: str) -> bytes:
    """Wrap shell commands: `say KEY VALUE` and `text KEY FILE` are there for them; markers stand around."""
    mark = quoted(nonce.encode("ascii"))
    return b"%sprintf 'B %%s\\0' %s\n%s\nprintf 'E %%s\\0' %s\n" % (_PROLOGUE, mark, body, mark)


def fields(reply: bytes, exit_status: int | None, nonce: str) -> tuple[bytes, ...]:
    """Return the NUL-ended fields between the markers.

    Raises TransportError: `no shell` where something ended without ever having run the script, `cut` where no
    exit status came, `malformed` where the end marker or the agreement of the status is missing.
    """
    begin, end = f"B {nonce}\0".encode("ascii"), f"E {nonce}\0".encode("ascii")
    if exit_status is None:
        raise TransportError(GapKind.CUT, "the connection ended before the answer did")
    start = reply.find(begin)
    if start < 0:
        raise TransportError(GapKind.NO_SHELL, f"status {exit_status}, and no answer but {_excerpt(reply)}")
    if exit_status != 0 or not reply.endswith(b"\0" + end) or start + len(begin) > len(reply) - len(end):
        raise TransportError(GapKind.MALFORMED, f"status {exit_status}; the answer has no end")
    inner = reply[start + len(begin) : -len(end)]
    if inner and not inner.endswith(b"\0"):
        raise TransportError(GapKind.MALFORMED, "the answer's last field has no end")
    return tuple(inner[:-1].split(b"\0")) if inner else ()


def pairs(values: tuple[bytes, ...]) -> Iterator[tuple[str, bytes]]:
    """Return what `say` and `text` printed, in order. Raises TransportError where a value is missing."""
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

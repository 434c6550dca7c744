"""Whether a small dump holds nothing but an error message: told by its first line.

A job that writes what a program prints into a file writes its complaint there as well. Such a file is small and is
text, so only small files are read, the newest few, and nothing of them is kept but the first words in the reason.
How programs begin their complaints is common practice, no published source.
"""

from __future__ import annotations

import re
import secrets
from collections.abc import Callable, Mapping, Sequence
from typing import Final

from coverage_audit.collectors.readers import content
from coverage_audit.collectors.readers.content import ContentStream
from coverage_audit.collectors.replies import Reply
from coverage_audit.collectors.requests import Request
from coverage_audit.collectors.transport import TransportError
from coverage_audit.evidence.collected import SecondLook
from coverage_audit.evidence.content import Wanted
from coverage_audit.evidence.facts import GapKind
from coverage_audit.evidence.visible import visible

LARGEST: Final = 64 * 1024
"""Larger files are not read: what a program complains of is shorter."""
_NEWEST: Final = 8
_SHOWN: Final = 80
_NOT_SENT: Final = frozenset({GapKind.REFUSED, GapKind.NO_TOOL, GapKind.UNREADABLE, GapKind.NO_SHELL})
_TROUBLE: Final = (
    rb"error|fatal|failed|failure|cannot|can't|could not|unable to|denied|refused|timed out|not found|no such file"
)
_COMPLAINT: Final = re.compile(
    rb"traceback \(most recent call last\)|(?:error|fatal|panic|usage)\b(?:[:(\[ ]|$)"
    rb"|[\w./+-]{1,60}: .*\b(?:" + _TROUBLE + rb")\b",
    re.IGNORECASE,
)


def complaints(root: str, looks: Sequence[SecondLook], put: Callable[[Request], Reply]) -> Mapping[bytes, str]:
    """Return, by their paths below `root`, what the small ones of the newest files complain of in their first line.

    A box that does not let content be sent has none read. Raises TransportError where it cannot be asked.
    """
    files = [
        Wanted(path=look.path, size=look.size, mtime_ns=look.mtime_ns)
        for look in looks
        if look.size is not None and look.mtime_ns is not None and 0 < look.size <= LARGEST
    ]
    newest = sorted(files, key=lambda one: one.mtime_ns)[-_NEWEST:]
    if not newest:
        return {}
    heard = _Beginnings()
    request = content.request(root, newest, secrets.token_hex(16))
    stream = ContentStream(root, newest, request.nonce, heard)
    try:
        reply = put(request)
        stream.feed(reply.text)
        stream.end(reply.exit_status)
    except TransportError as error:
        if error.kind in _NOT_SENT:
            return {}
        raise
    return {path: said for path, begun in heard.whole.items() if (said := complaint(begun))}


def complaint(begun: bytes) -> str:
    """Return the first line of a text that complains of something, made visible; empty where it does not."""
    line = next((line.strip() for line in begun.splitlines() if line.strip()), b"")
    if b"\0" in begun or not _COMPLAINT.match(line):
        return ""
    shown = visible(line)
    return shown if len(shown) <= _SHOWN else f"{shown[:_SHOWN]}…"


class _Beginnings:
    """Takes the content of files that came whole."""

    def __init__(self) -> None:
        self.whole: dict[bytes, bytes] = {}
        self._path = b""
        self._begun = bytearray()

    def begin(self, one: Wanted) -> None:
        self._path = one.path
        self._begun.clear()

    def take(self, piece: bytes) -> None:
        self._begun += piece

    def end(self, why: str | None) -> None:
        if why is None:
            self.whole[self._path] = bytes(self._begun)

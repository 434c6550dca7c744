"""Where the content of files goes that a reader hands on, however it comes."""

from __future__ import annotations

from typing import Protocol

from coverage_audit.evidence.content import Wanted


class Sink(Protocol):
    """Where the content of files goes, one after the other."""

    def begin(self, one: Wanted) -> None:
        """Make ready for a file."""

    def take(self, piece: bytes) -> None:
        """Take the next piece of it."""

    def end(self, why: str | None) -> None:
        """Take note that the file is whole, or why it does not count (it need not have begun to come)."""

"""Notices past the outbox, for when the ledger itself cannot be used: at most one a day, as well as can be known."""

from __future__ import annotations

from contextlib import suppress
from datetime import date
from pathlib import Path


class DirectNotices:
    """Knows whether today's was sent: in memory, and in a file of the state folder where one can be written."""

    def __init__(self, state: Path) -> None:
        self._file = state / "told-directly"
        self._told: date | None = None
        with suppress(OSError, ValueError):
            self._told = date.fromisoformat(self._file.read_text("ascii").strip())

    def due(self, today: date) -> bool:
        """Whether nothing was sent today."""
        return self._told != today

    def sent(self, today: date) -> None:
        """Note that it was sent."""
        self._told = today
        with suppress(OSError):
            self._file.write_text(f"{today}\n", "ascii")

"""Notices past the outbox, for when the ledger itself cannot be used: one a day, as well as can be known."""

from __future__ import annotations

from contextlib import suppress
from datetime import date, datetime, timedelta
from pathlib import Path
from typing import Final

AGAIN: Final = timedelta(minutes=15)
"""How long to wait before what reached nobody is tried again."""


class DirectNotices:
    """Knows whether today's arrived: in memory, and in a file of the state folder where one can be written."""

    def __init__(self, state: Path) -> None:
        self._file = state / "told-directly"
        self._told: date | None = None
        self._not_before: datetime | None = None
        with suppress(OSError, ValueError):
            self._told = date.fromisoformat(self._file.read_text("ascii").strip())

    def due(self, today: date, now: datetime) -> bool:
        """Whether today's is to be tried now."""
        if self._told == today:
            return False
        # A clock that was ahead and was set back must not silence it.
        return self._not_before is None or not now < self._not_before <= now + AGAIN

    def tried(self, now: datetime) -> None:
        """Note that it is being tried."""
        self._not_before = now + AGAIN

    def arrived(self, today: date) -> None:
        """Note that it reached somebody."""
        self._told = today
        with suppress(OSError):
            self._file.write_text(f"{today}\n", "ascii")

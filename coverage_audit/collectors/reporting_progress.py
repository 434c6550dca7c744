"""Progress on its way to the auditor: now and then, and never in the way of the work."""

from __future__ import annotations

import contextlib
import time
from typing import Final

from coverage_audit.evidence.progress import Progress

_APART: Final = 0.2  # seconds between two reports of one subject


class Sparing:
    """Passes a subject's progress on at most five times a second."""

    def __init__(self, told: Progress) -> None:
        self._told = told
        self._last: dict[str, float] = {}

    def __call__(self, subject: str, entries: int) -> None:
        """See `Progress`; a report that nobody takes is no reason to stop."""
        now = time.monotonic()
        if now - self._last.get(subject, 0.0) < _APART:
            return
        self._last[subject] = now
        with contextlib.suppress(OSError):
            self._told(subject, entries)

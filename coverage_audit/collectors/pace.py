"""How fast content may be read, and until when."""

from __future__ import annotations

import threading
import time

from coverage_audit.errors import CollectionError


class OutOfTimeError(CollectionError):
    """The time that reading is given is over: what was not read yet is left for another time."""


class Pace:
    """The bounds of one reading; shared by its threads. `until` is on time.monotonic(), `rate` bytes a second.

    The rate holds on average from the first byte on: whoever took a piece waits until that much may have been read.
    """

    def __init__(self, *, until: float, rate: float | None = None) -> None:
        self.until = until
        self.rate = rate
        self.bytes = 0
        self.started = time.monotonic()
        self._lock = threading.Lock()

    @property
    def seconds(self) -> float:
        """How long it goes on by now."""
        return time.monotonic() - self.started

    @property
    def is_over(self) -> bool:
        """Whether the time is over."""
        return time.monotonic() >= self.until

    def fits(self, size: int) -> bool:
        """Whether so many bytes more can be read at this rate before the time is over."""
        if self.is_over:
            return False
        return self.rate is None or self.started + (self.bytes + size) / self.rate <= self.until

    def took(self, size: int) -> None:
        """Count bytes that were read and wait for their time. Raises OutOfTimeError when the time is over."""
        with self._lock:
            self.bytes += size
            due = self.started + self.bytes / self.rate if self.rate is not None else 0.0
        now = time.monotonic()
        if now >= self.until:
            raise OutOfTimeError("the time for reading content is over")
        if due > now:
            time.sleep(min(due, self.until) - now)

"""How the daemon comes to its end: who asked for it first, and with which status the process ends."""

from __future__ import annotations

import threading


class Ending:
    """Set once, from any thread: the first reason stands."""

    def __init__(self) -> None:
        self._asked = threading.Event()
        self._lock = threading.Lock()
        self.status = 0
        self.why = ""

    @property
    def asked(self) -> bool:
        """Whether the daemon is to end."""
        return self._asked.is_set()

    def ask(self, status: int, why: str) -> bool:
        """Ask for the end; False where it was asked for before."""
        with self._lock:
            if self._asked.is_set():
                return False
            self.status, self.why = status, why
            self._asked.set()
            return True

"""Talking to the service manager: ready, alive, stopping (sd_notify(3), sd_watchdog_enabled(3)).

Best effort by its nature: a manager that cannot be reached notices the silence by itself. Without one nothing happens.
"""

from __future__ import annotations

import os
import socket
from collections.abc import Mapping
from datetime import timedelta
from typing import Final, Self

from coverage_audit.evidence.visible import visible

_SEND_S: Final = 1.0
"""How long a message may wait for room in the manager's queue: the tick must not hang on it."""

_FOR_EVER: Final = (1 << 64) - 1
"""USEC_INFINITY of the manager's own arithmetic."""


class ServiceManager:
    """The manager behind NOTIFY_SOCKET; `pet_every` is half its watchdog's time (None: it watches over nothing).

    `petted` has to be called at least that often, from the very work that is watched.
    """

    def __init__(self, *, address: bytes | None = None, pet_every: timedelta | None = None) -> None:
        self._address = address
        self.pet_every = None if address is None else pet_every
        self._status = ""

    @classmethod
    def from_environment(cls, environment: Mapping[str, str]) -> Self:
        """Return the manager that the environment names; words in it that make no sense are as if they were not."""
        return cls(address=_address(environment.get("NOTIFY_SOCKET", "")), pet_every=_half(environment))

    def ready(self, status: str) -> None:
        """Say that the start is done: the estate holds, the ledger is open, the scheduler ticks."""
        if self._send("READY=1", _line(status)):
            self._status = status

    def working(self, status: str) -> None:
        """Say in a few words what is being done, where that is something else than before."""
        if status != self._status and self._send(_line(status)):
            self._status = status

    def petted(self) -> None:
        """Say that the work goes on, where the manager watches over it."""
        if self.pet_every is not None:
            self._send("WATCHDOG=1")

    def stopping(self) -> None:
        """Say that the end has begun."""
        self._send("STOPPING=1")

    def _send(self, *lines: str) -> bool:
        """Send one datagram; say whether that was done. What cannot be sent is dropped."""
        if self._address is None:
            return False
        message = "\n".join(lines).encode("utf-8", "backslashreplace")
        try:
            with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM | socket.SOCK_CLOEXEC) as channel:
                channel.settimeout(_SEND_S)
                channel.sendto(message, self._address)
        except OSError:
            return False
        return True


def _line(status: str) -> str:
    """Return the line of a status: whatever it holds, it is one line."""
    return f"STATUS={visible(status)}"


def _address(name: str) -> bytes | None:
    """Return a socket's address; `@` stands for the zero byte of the abstract namespace (unix(7))."""
    if len(name) < 2 or name[0] not in "/@":  # a mark and a name; `vsock:` is for whole machines
        return None
    encoded = os.fsencode(name)
    return b"\0" + encoded[1:] if name[0] == "@" else encoded


def _half(environment: Mapping[str, str]) -> timedelta | None:
    """Return half the watchdog's time if it watches over this very process."""
    of = environment.get("WATCHDOG_PID")
    if of is not None and of != str(os.getpid()):
        return None
    text = environment.get("WATCHDOG_USEC", "")
    if not text.isascii() or not text.isdigit() or not 0 < int(text) < _FOR_EVER:
        return None
    return timedelta(microseconds=int(text)) / 2

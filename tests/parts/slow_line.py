"""A line to a box that lets so many bytes a second of its answers pass."""

from __future__ import annotations

import contextlib
import socket
import threading
import time
from collections.abc import Callable, Iterator

import pytest

StartSlowLine = Callable[[int, int], int]
"""Starts a line to a port at so many bytes a second, and returns the port at which it is reached."""

_PIECE = 1 << 14


@pytest.fixture
def slow_line() -> Iterator[StartSlowLine]:
    """Give a way to start such lines; all are ended with the test."""
    lines: list[_SlowLine] = []

    def start(port: int, rate: int) -> int:
        lines.append(_SlowLine(port, rate))
        return lines[-1].port

    yield start
    for line in lines:
        line.close()


class _SlowLine:
    def __init__(self, target: int, rate: int) -> None:
        self._target = target
        self._rate = rate
        self._server = socket.create_server(("127.0.0.1", 0))
        self.port = int(self._server.getsockname()[1])
        self._sockets: list[socket.socket] = [self._server]
        threading.Thread(target=self._serve, daemon=True).start()

    def _serve(self) -> None:
        with contextlib.suppress(OSError):
            while True:
                client, _ = self._server.accept()
                box = socket.create_connection(("127.0.0.1", self._target))
                self._sockets += [client, box]
                threading.Thread(target=self._pass, args=(client, box, None), daemon=True).start()
                threading.Thread(target=self._pass, args=(box, client, self._rate), daemon=True).start()

    def _pass(self, source: socket.socket, target: socket.socket, rate: int | None) -> None:
        due = time.monotonic()
        with contextlib.suppress(OSError):
            while piece := source.recv(_PIECE):
                if rate is not None:
                    due = max(due, time.monotonic() - 0.05) + len(piece) / rate
                    time.sleep(max(0.0, due - time.monotonic()))
                target.sendall(piece)
            target.shutdown(socket.SHUT_WR)

    def close(self) -> None:
        for one in self._sockets:
            with contextlib.suppress(OSError):
                one.shutdown(socket.SHUT_RDWR)
            one.close()

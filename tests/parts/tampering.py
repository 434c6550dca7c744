"""A line on the way to a box that cuts, falls silent or drips after so many bytes of the box's answers."""

from __future__ import annotations

import contextlib
import socket
import threading
from collections.abc import Iterator
from typing import Protocol

import pytest


class StartTampering(Protocol):
    """Starts a line to `port` and returns the port at which it is reached."""

    def __call__(
        self, port: int, *, cut_after: int | None = None, hang_after: int | None = None, drip_after: int | None = None
    ) -> int:
        """The counts are of bytes that the box sent over one connection."""


@pytest.fixture
def tampered_line() -> Iterator[StartTampering]:
    """Give a way to start such lines; all are ended with the test."""
    lines: list[_Line] = []

    def start(
        port: int, *, cut_after: int | None = None, hang_after: int | None = None, drip_after: int | None = None
    ) -> int:
        line = _Line(port, cut_after, hang_after, drip_after)
        lines.append(line)
        return line.port

    yield start
    for line in lines:
        line.close()


class _Line:
    def __init__(self, target: int, cut_after: int | None, hang_after: int | None, drip_after: int | None) -> None:
        self._target = target
        self._cut_after, self._hang_after, self._drip_after = cut_after, hang_after, drip_after
        self._server = socket.create_server(("127.0.0.1", 0))
        self.port = int(self._server.getsockname()[1])
        self._sockets: list[socket.socket] = [self._server]
        self._over = threading.Event()
        self._threads = [threading.Thread(target=self._serve, daemon=True)]
        self._threads[0].start()

    def _serve(self) -> None:
        with contextlib.suppress(OSError):
            while True:
                client, _ = self._server.accept()
                box = socket.create_connection(("127.0.0.1", self._target))
                self._sockets += [client, box]
                for work in (self._to_box, self._to_client):
                    thread = threading.Thread(target=work, args=(client, box), daemon=True)
                    self._threads.append(thread)
                    thread.start()

    def _to_box(self, client: socket.socket, box: socket.socket) -> None:
        with contextlib.suppress(OSError):
            while piece := client.recv(1 << 16):
                box.sendall(piece)
            box.shutdown(socket.SHUT_WR)

    def _to_client(self, client: socket.socket, box: socket.socket) -> None:
        passed = 0
        with contextlib.suppress(OSError):
            while piece := box.recv(1 << 14):
                passed += len(piece)
                if self._cut_after is not None and passed > self._cut_after:
                    _cut(client)
                    _cut(box)
                    return
                if self._hang_after is not None and passed > self._hang_after:
                    self._over.wait()
                    return
                if self._drip_after is not None and passed > self._drip_after:
                    self._drip(client, piece)
                    return
                client.sendall(piece)
            client.shutdown(socket.SHUT_WR)

    def _drip(self, client: socket.socket, piece: bytes) -> None:
        for byte in piece:
            client.sendall(bytes([byte]))
            if self._over.wait(60):
                return

    def close(self) -> None:
        self._over.set()
        for one in self._sockets:
            with contextlib.suppress(OSError):
                _cut(one)
        for thread in self._threads:
            thread.join(5)


def _cut(line: socket.socket) -> None:
    with contextlib.suppress(OSError):
        line.shutdown(socket.SHUT_RDWR)
    line.close()

"""Boxes that run no commands and offer their files over SFTP alone, and the same conversation without a network."""

from __future__ import annotations

import subprocess
from collections.abc import Callable, Sequence
from types import TracebackType
from typing import Self

import pytest

from coverage_audit.collectors.transport import TransportError
from coverage_audit.evidence.facts import GapKind
from tests.parts.sshd import Box, StartSshd

SFTP_ONLY = ("Subsystem sftp internal-sftp", "ForceCommand internal-sftp")
SERVER = "/usr/lib/openssh/sftp-server"


StartSftpOnly = Callable[..., Box]
"""Starts such a box; `prefix` is the start of a command that runs its server."""


@pytest.fixture
def start_sftp_only(start_sshd: StartSshd) -> StartSftpOnly:
    """Give a way to start boxes whose account may use SFTP and nothing else, as sshd_config(5) describes it."""
    return lambda prefix=(): start_sshd(*SFTP_ONLY, within=prefix)


class SftpServer:
    """OpenSSH's own server of files at the other end of two pipes: the packets of a box, without the box."""

    def __init__(self, prefix: Sequence[str] = ()) -> None:
        self.process = subprocess.Popen(
            [*prefix, SERVER], stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL
        )
        assert self.process.stdin is not None
        assert self.process.stdout is not None
        self._stdin, self._stdout = self.process.stdin, self.process.stdout

    def send(self, packet: bytes) -> None:
        """Send a packet with its length before it."""
        try:
            self._stdin.write(len(packet).to_bytes(4, "big") + packet)
            self._stdin.flush()
        except BrokenPipeError as error:
            raise TransportError(GapKind.CUT, "the server ended") from error

    def receive(self) -> bytes:
        """Wait for a packet."""
        length = int.from_bytes(self._read(4), "big")
        return self._read(length)

    def _read(self, size: int) -> bytes:
        read = self._stdout.read(size)
        if len(read) < size:
            raise TransportError(GapKind.CUT, "the server ended")
        return read

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.process.kill()
        self.process.wait(10)
        self._stdin.close()
        self._stdout.close()

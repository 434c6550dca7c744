"""A reader's request answered by the real gate under a real shell, as a transport would have it answered."""

from __future__ import annotations

import subprocess
from collections.abc import Mapping

from coverage_audit.collectors.gate_text import gate_file
from coverage_audit.collectors.requests import Request

NONCE = "0123456789abcdef0123456789abcdef"


def run_gate(
    request: Request, *, by: tuple[str, ...] = ("sh",), environment: Mapping[str, str] | None = None
) -> subprocess.CompletedProcess[bytes]:
    """Put `request` to the gate as it is sent along: its text on the standard input of the request's command."""
    with gate_file().open("rb") as gate:
        command = [*by, "-s", "--", *request.words]
        return subprocess.run(command, stdin=gate, capture_output=True, timeout=60, check=False, env=environment)


def answered(request: Request, *, by: tuple[str, ...] = ("sh",), before: bytes = b"") -> tuple[bytes, int]:
    """Return what the gate printed after `before` (the noise of a login), and its status."""
    done = run_gate(request, by=by)
    return before + done.stdout, done.returncode


def framed_reply(*pairs: tuple[str, bytes]) -> bytes:
    """Write the reply that the gate would have printed for these names and values."""
    inner = b"".join(name.encode() + b"\0" + value + b"\0" for name, value in pairs)
    return b"B " + NONCE.encode() + b" sent\0" + inner + b"E " + NONCE.encode() + b" 0\0"

"""A reader's script answered by a real shell, as a transport would have it answered."""

from __future__ import annotations

import subprocess

NONCE = "0123456789abcdef0123456789abcdef"


def answered(script: bytes, *, by: tuple[str, ...] = ("sh",), before: bytes = b"") -> tuple[bytes, int]:
    """Run `script` and return what it printed after `before` (the noise of a login), and its status."""
    done = subprocess.run([*by, "-c", script], capture_output=True, timeout=60, check=False)
    return before + done.stdout, done.returncode


def framed_reply(*pairs: tuple[str, bytes]) -> bytes:
    """Write the reply that a script would have printed for these names and values."""
    inner = b"".join(name.encode() + b"\0" + value + b"\0" for name, value in pairs)
    return b"B " + NONCE.encode() + b"\0" + inner + b"E " + NONCE.encode() + b"\0"

"""What is mounted on the auditor's own machine, for who has declared nothing yet."""

from __future__ import annotations

import secrets
import time
from typing import Final

from coverage_audit.collectors.readers import filesystems
from coverage_audit.collectors.replies import reply_to
from coverage_audit.collectors.transports.local import LocalTransport
from coverage_audit.evidence.facts import MountedFilesystem

_LONGEST: Final = 60.0  # seconds


def mounted_here() -> tuple[MountedFilesystem, ...]:
    """Return the filesystems mounted here that can hold data. Raises TransportError when that cannot be told."""
    nonce = secrets.token_hex(16)
    with LocalTransport() as transport:
        reply = reply_to(transport, filesystems.request(nonce), deadline=time.monotonic() + _LONGEST)
    return filesystems.parse(reply.text, reply.exit_status, nonce=nonce)

"""Which of the auditor's own files the way to a box uses."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

from coverage_audit.collectors.transports.ssh.client_config import way_to
from coverage_audit.collectors.transports.ssh.login import usual_files
from coverage_audit.estate.access import SshAccess


def files_used(access: SshAccess) -> Iterator[Path]:
    """Give the key files and files of known hosts of every hop, whether they exist or not.

    Raises TransportError for a configuration that cannot be read or honoured.
    """
    for hop in way_to(access):
        yield from hop.identity_files or usual_files()
        yield from hop.known_hosts

"""Walk a tree once into a stored manifest, as a process of its own: `walk_once.py ROOT FILE [KEYS PORT]`.

With the folder of a loopback server's keys and its port the tree is walked over SSH.
"""

from __future__ import annotations

import secrets
import sys
import time
from datetime import UTC, datetime
from pathlib import Path

from coverage_audit.collectors.readers.find_tree import FindReader, request
from coverage_audit.collectors.readers.scan_tree import scan
from coverage_audit.collectors.walked import AddRows, Walked
from coverage_audit.estate.model import Address, DeviceId, VolumeId, VolumeKey
from coverage_audit.evidence.manifest import Origin
from coverage_audit.evidence.store import ManifestWriter

SEED = b"a seed for benchmarks"
MEMORY = 1_000_000_000
STARTED = datetime(2026, 11, 25, 4, 10, tzinfo=UTC)
AN_HOUR = 3600.0


def here(root: str, add: AddRows) -> Walked:
    """Walk with two processes."""
    return scan(root, add, walkers=2, deadline=time.monotonic() + AN_HOUR)


def over_ssh(root: str, add: AddRows, keys: Path, port: int) -> Walked:
    """Walk by GNU find over SSH."""
    from coverage_audit.collectors.transports.ssh import SshTransport  # noqa: PLC0415 - not timed where it is not used
    from tests.benchmarks.loopback import Server  # noqa: PLC0415 - likewise
    from tests.builders.limits import some_limits  # noqa: PLC0415 - likewise

    nonce = secrets.token_hex(16)
    reader = FindReader(root, nonce, add)
    with SshTransport.connect(Server(folder=keys, port=port).access, some_limits()) as transport:
        stream = transport.open_request(request(root, nonce), deadline=time.monotonic() + AN_HOUR)
        with stream:
            for piece in stream:
                reader.feed(piece)
            return reader.end(stream.exit_status, stream.stderr, stream.stderr_dropped)


def walk_once(root: str, file: Path, *server: str) -> None:
    """Walk a tree and store its manifest."""
    writer = ManifestWriter(file, SEED, MEMORY, started=STARTED)
    walked = over_ssh(root, writer.add, Path(server[0]), int(server[1])) if server else here(root, writer.add)
    place = Address(volume=VolumeKey(device=DeviceId("kestrel"), volume=VolumeId("main")), path="")
    origin = Origin(address=place, root=root, how=walked.how, started=STARTED, finished=STARTED)
    print(writer.finish(origin, walked.blind).census)  # noqa: T201 - a script's answer


if __name__ == "__main__":
    walk_once(sys.argv[1], Path(sys.argv[2]), *sys.argv[3:])

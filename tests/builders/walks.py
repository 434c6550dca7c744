"""Trees walked for real, in every way, with their rows as objects."""

from __future__ import annotations

import os
import pickle
import secrets
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any, Literal

from coverage_audit.collectors.gate_text import gate_text
from coverage_audit.collectors.packets import Packets
from coverage_audit.collectors.readers import stat_tree
from coverage_audit.collectors.readers.find_tree import FindReader, request
from coverage_audit.collectors.readers.scan_tree import scan
from coverage_audit.collectors.readers.sftp_tree import walk_over_sftp
from coverage_audit.collectors.readers.stat_tree import StatReader
from coverage_audit.collectors.transport import Transport, TransportError
from coverage_audit.collectors.transports.local import LocalTransport
from coverage_audit.collectors.walked import Walked
from coverage_audit.evidence.manifest import Kind, Row
from coverage_audit.evidence.order import tree_key
from tests.parts.busybox import a_path_of_busybox
from tests.parts.sftp_only import SftpServer

Way = Literal["find", "scan", "stat", "sftp"]
WAYS: tuple[Way, ...] = ("find", "scan", "stat", "sftp")
ORDINARY = ("setpriv", "--inh-caps=-all", "--bounding-set=-dac_override,-dac_read_search")
"""Runs a command as root without root's right to read everything."""

CHECKOUT = Path(__file__).parents[2]


@dataclass(frozen=True, kw_only=True)
class Seen:
    """What a walk proved, and its rows in tree order."""

    walked: Walked
    rows: tuple[Row, ...]

    @property
    def blind(self) -> dict[bytes, str]:
        """The blind places and why."""
        return {place.path: place.why for place in self.walked.blind}

    @property
    def paths(self) -> list[bytes]:
        """The paths in tree order."""
        return [row.path for row in self.rows]


def rows_of(batches: Sequence[Any]) -> list[Row]:
    """The rows of record batches, as they came."""
    return [Row(**{**row, "kind": Kind(row["kind"])}) for batch in batches for row in batch.to_pylist()]


def by_scan(root: str | Path, walkers: int = 2, seconds: float = 60) -> Seen:
    """Walk by the local walkers; their rows must come in tree order."""
    batches: list[Any] = []
    walked = scan(os.fspath(root), batches.append, walkers=walkers, deadline=time.monotonic() + seconds)
    rows = rows_of(batches)
    assert rows == sorted(rows, key=lambda row: tree_key(row.path))
    assert walked.entries == len(rows)
    return Seen(walked=walked, rows=tuple(rows))


def by_find(root: str | Path, transport: Transport | None = None) -> Seen:
    """Walk by the system's GNU find, here or over a transport."""
    batches: list[Any] = []
    nonce = secrets.token_hex(16)
    reader = FindReader(os.fspath(root), nonce, batches.append)
    asked = request(os.fspath(root), nonce)
    with (transport or LocalTransport()).open_request(asked, deadline=time.monotonic() + 60) as stream:
        for piece in stream:
            reader.feed(piece)
        walked = reader.end(stream.exit_status, stream.stderr, stream.stderr_dropped)
    return _seen(walked, batches)


def by_stat(root: str | Path, transport: Transport | None = None) -> Seen:
    """Walk by BusyBox's find and stat, here or over a transport."""
    if transport is None:
        with tempfile.TemporaryDirectory() as folder:
            tools = a_path_of_busybox(Path(folder) / "bin")
            return by_stat(root, LocalTransport(b"PATH=%s\n%s" % (os.fsencode(tools), gate_text())))
    batches: list[Any] = []
    nonce = secrets.token_hex(16)
    reader = StatReader(os.fspath(root), nonce, batches.append, precision_ns=1)
    asked = stat_tree.request("stat-c", os.fspath(root), nonce)
    with transport.open_request(asked, deadline=time.monotonic() + 60) as stream:
        for piece in stream:
            reader.feed(piece)
        walked = reader.end(stream.exit_status, stream.stderr, stream.stderr_dropped)
    return _seen(walked, batches)


def by_sftp(root: str | Path, packets: Packets | None = None) -> Seen:
    """Walk over SFTP, by OpenSSH's own server here or over a conversation."""
    batches: list[Any] = []
    with packets or SftpServer() as open_packets:
        walked = walk_over_sftp(open_packets, os.fspath(root), batches.append, lambda _entries: None)
    return _seen(walked, batches)


def as_sftp_tells(row: Row) -> Row:
    """A row as it looks over SFTP: whole seconds of 32 bits, and nothing that SFTP does not tell."""
    seconds = row.mtime_ns // 10**9 % 2**32
    return replace(row, mtime_ns=seconds * 10**9, ctime_ns=None, blocks=None, links=None)


def as_told(way: Way, rows: Sequence[Row]) -> list[Row]:
    """Rows as the way can tell them."""
    return [as_sftp_tells(row) for row in rows] if way == "sftp" else list(rows)


def _seen(walked: Walked, batches: Sequence[Any]) -> Seen:
    rows = sorted(rows_of(batches), key=lambda row: tree_key(row.path))
    assert walked.entries == len(rows)
    return Seen(walked=walked, rows=tuple(rows))


def by(way: Way, root: str | Path) -> Seen:
    """Walk in one of the ways."""
    walks: dict[Way, Callable[[str | Path], Seen]] = {
        "find": by_find,
        "scan": by_scan,
        "stat": by_stat,
        "sftp": by_sftp,
    }
    return walks[way](root)


def by_ordinary(way: Way, root: str | Path) -> Seen | TransportError:
    """Walk in a process that may not read everything, as an auditor's account does."""
    program = (
        "import pickle, sys\n"
        "from coverage_audit.collectors.transport import TransportError\n"
        "from tests.builders.walks import by\n"
        "try:\n    seen = by(*sys.argv[1:])\n"
        "except TransportError as error:\n    seen = error\n"
        "sys.stdout.buffer.write(pickle.dumps(seen))\n"
    )
    prefix = ORDINARY if os.geteuid() == 0 else ()
    command = [*prefix, sys.executable, "-c", program, way, os.fspath(root)]
    done = subprocess.run(command, check=True, stdout=subprocess.PIPE, cwd=CHECKOUT)
    seen: Seen | TransportError = pickle.loads(done.stdout)  # noqa: S301 - our own process
    return seen

"""Read the content of listed files once, as an audit has it read: `content_once.py ROOT LIST`.

The list holds a line for each file: size, mtime in ns, path below the root.
"""

from __future__ import annotations

import sys
from datetime import UTC, datetime, timedelta
from pathlib import Path

from coverage_audit.collectors.hash_files import hash_files
from coverage_audit.estate.access import LocalAccess
from coverage_audit.evidence.content import HashedFiles, Wanted
from tests.builders.limits import some_limits
from tests.builders.questions import a_device

UNBOUNDED = 10**12  # bytes a second


def read_once(root: str, listed: Path) -> None:
    """Read every file, and see that each has its digest."""
    lines = [line.split(b" ", 2) for line in listed.read_bytes().splitlines()]
    outcome = hash_files(
        a_device("kestrel", {"main": Path(root)}, LocalAccess()),
        root,
        [Wanted(path=path, size=int(size), mtime_ns=int(mtime)) for size, mtime, path in lines],
        algorithm="sha256",
        budget=timedelta(hours=1),
        rate=UNBOUNDED,
        limits=some_limits(),
        clock=lambda: datetime(2026, 11, 27, 4, 10, tzinfo=UTC),
    )
    if not isinstance(outcome, HashedFiles) or len(outcome.hashed) != len(lines):
        raise SystemExit(f"not every file was read: {outcome}")


if __name__ == "__main__":
    read_once(sys.argv[1], Path(sys.argv[2]))

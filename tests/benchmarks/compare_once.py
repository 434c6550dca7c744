"""Compare two stored manifests once, as a process of its own: `compare_once.py ORIGINAL COPY FOLDER`."""

from __future__ import annotations

import sys
import time
from pathlib import Path

from coverage_audit.comparison.compare import match
from coverage_audit.comparison.types import Workspace
from coverage_audit.evidence.store import open_manifest

SEED = b"a seed for tests"  # tests.builders.manifests has the same; importing it would be timed too
MEMORY = 256_000_000


def compare_once(original: Path, copy: Path, folder: Path) -> None:
    """Compare, leave the relation in the folder, print the seconds that it took without the start of the process."""
    work = Workspace(folder=folder, memory=MEMORY, seed=SEED)
    began = time.perf_counter()
    matched = match(open_manifest(original), open_manifest(copy), leave_out=(), work=work)
    seconds = time.perf_counter() - began
    matched.relation.replace(folder / "differences.parquet")
    print(seconds, matched.missing, matched.changed, matched.extra)  # noqa: T201  a script's answer


if __name__ == "__main__":
    compare_once(*(Path(argument) for argument in sys.argv[1:4]))

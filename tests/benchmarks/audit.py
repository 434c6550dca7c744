"""Whole commands: an audit of a large dataset from cold start to conclusion, and the help.

`python -m tests.benchmarks audit` prints these rows.
"""

from __future__ import annotations

import shutil
import subprocess
import sys
from pathlib import Path
from tempfile import TemporaryDirectory

from tests.benchmarks.timing import Figure, Measured, in_pairs, measure
from tests.benchmarks.walk import a_large_tree

ESTATE = """\
estate: Saltreach Field Station
time_zone: Europe/Dublin
rehearsal: true
sites: {{station: {{name: Field station}}, barn: {{name: Long Barn}}}}
devices:
  kestrel: {{site: station, access: local, volumes: {{main: {{path: "{root}/kestrel", medium: hdd}}}}}}
  heron: {{site: barn, access: local, volumes: {{pool: {{path: "{root}/heron", medium: hdd}}}}}}
policies: {{careful: {{copies: 2, max_age: 26h}}}}
datasets:
  recordings: {{policy: careful, original: kestrel:main/tree, copies: [{{at: heron:pool/tree}}]}}
"""
AUDIT = [sys.executable, "-m", "coverage_audit", "audit"]


def rows(entries: int = 1_000_000, *, folder: Path | None = None, rounds: int = 3) -> list[Figure]:
    """Measure an audit of `entries` files and one copy against a dry run of rsync, and `--help` against Python."""
    with TemporaryDirectory(dir=folder) as scratch:
        place = Path(scratch)
        (place / "kestrel").mkdir()
        a_large_tree(place / "kestrel" / "tree", entries)
        subprocess.run(["cp", "-a", place / "kestrel", place / "heron"], check=True)
        (place / "estate.yaml").write_text(ESTATE.format(root=place), encoding="utf-8")
        return [_audit(place, entries, rounds), _help(rounds)]


def _audit(place: Path, entries: int, rounds: int) -> Figure:
    state = place / "state"

    def audit() -> Measured:
        shutil.rmtree(state, ignore_errors=True)
        return measure([*AUDIT, "--estate", place / "estate.yaml", "--state", state])

    def rsync() -> Measured:
        sides = [f"{place}/kestrel/tree/", f"{place}/heron/tree/"]
        return measure(["rsync", "-an", "--delete", "-i", *sides])

    ours, theirs = in_pairs(audit, rsync, rounds)
    return Figure(
        work=f"audit {entries:,} files and one copy, cold start to conclusion",
        measured=ours,
        reference="rsync -an --delete -i",
        referred=theirs,
        most=0.7,
    )


def _help(rounds: int) -> Figure:
    ours, theirs = in_pairs(
        lambda: measure([sys.executable, "-m", "coverage_audit", "--help"]),
        lambda: measure([sys.executable, "-c", "pass"]),
        max(rounds, 5),
    )
    return Figure(
        work="coverage-audit --help",
        measured=ours,
        reference="python -c pass",
        referred=theirs,
        most=(theirs.wall + 0.150) / theirs.wall,  # 150 ms more
    )

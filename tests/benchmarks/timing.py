"""Timing commands as processes of their own, in pairs, with their peak memory; and the figures that come of it.

Machines and hours differ: a figure is a ratio to a reference that was timed in the same run, turn by turn.
"""

from __future__ import annotations

import json
import os
import subprocess
import sys
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from statistics import median
from tempfile import NamedTemporaryFile


@dataclass(frozen=True, kw_only=True)
class Measured:
    """One command: seconds on the clock, seconds of processors, peak resident memory in bytes."""

    wall: float
    cpu: float
    peak: int


@dataclass(frozen=True, kw_only=True)
class Figure:
    """One row of the table: a piece of work against its reference, and what is aimed at.

    `most` is the largest ratio of wall times that meets the aim (of processor seconds: `most_cpu`), `most_peak` the
    largest peak in bytes; None: no such aim.
    """

    work: str
    measured: Measured
    reference: str
    referred: Measured
    most: float | None = None
    most_cpu: float | None = None
    most_peak: int | None = None

    @property
    def ratio(self) -> float:
        """How long it took, in times of the reference."""
        return self.measured.wall / self.referred.wall

    @property
    def cpu_ratio(self) -> float:
        """How many processor seconds it took, in times of the reference."""
        return self.measured.cpu / self.referred.cpu

    @property
    def met(self) -> bool:
        """Whether all that is aimed at was reached."""
        return (
            (self.most is None or self.ratio <= self.most)
            and (self.most_cpu is None or self.cpu_ratio <= self.most_cpu)
            and (self.most_peak is None or self.measured.peak <= self.most_peak)
        )

    def line(self) -> str:
        """Write it as one line of the table."""
        aims = [f"≤ {self.most:g} x"] if self.most is not None else []
        aims += [f"CPU ≤ {self.most_cpu:g} x"] if self.most_cpu is not None else []
        aims += [f"≤ {self.most_peak / 2**20:.0f} MiB"] if self.most_peak is not None else []
        return (
            f"{self.work:<58} {self.measured.wall:8.2f} s {self.measured.peak / 2**20:6.0f} MiB  "
            f"{self.ratio:5.2f} x (CPU {self.cpu_ratio:4.1f} x) of {self.reference} {self.referred.wall:.2f} s"
            f"  aim {', '.join(aims) or '-'}{'' if self.met else '  MISSED'}"
        )


# A process begins with the peak memory of the one that forked it: so a small one stands between, and measures.
_MEASURE = """
import json, os, sys, time
began = time.perf_counter()
child = os.posix_spawnp(sys.argv[2], sys.argv[2:], os.environ)
_, status, used = os.wait4(child, 0)
wall = time.perf_counter() - began
with open(sys.argv[1], "w") as file:
    json.dump([os.waitstatus_to_exitcode(status), wall, used.ru_utime + used.ru_stime, used.ru_maxrss * 1024], file)
"""


def measure(command: Sequence[str | Path], *, output: Path | None = None) -> Measured:
    """Run a command to its end, its output to a file (or nowhere). Raises RuntimeError when it fails."""
    with NamedTemporaryFile() as figures, Path(output or os.devnull).open("wb") as out:
        between = [sys.executable, "-I", "-S", "-c", _MEASURE, figures.name]
        subprocess.run([*between, *command], stdout=out, env={**os.environ, "LC_ALL": "C"}, check=True)
        status, wall, cpu, peak = json.loads(Path(figures.name).read_text(encoding="ascii"))
    if status:
        raise RuntimeError(f"{command[0]} ended with {status}")
    return Measured(wall=wall, cpu=cpu, peak=peak)


def in_pairs(one: Callable[[], Measured], other: Callable[[], Measured], rounds: int = 3) -> tuple[Measured, Measured]:
    """Measure two things turn by turn; return for each the medians of its times and its largest peak."""
    taken = [(one(), other()) for _ in range(rounds)]
    return _middle([first for first, _ in taken]), _middle([second for _, second in taken])


def _middle(taken: Sequence[Measured]) -> Measured:
    return Measured(
        wall=median(each.wall for each in taken),
        cpu=median(each.cpu for each in taken),
        peak=max(each.peak for each in taken),
    )

"""A wall clock that a test moves, for whole processes with all that they start (libfaketime, Debian package faketime).

The monotonic clock stays the real one: so a step of the wall clock looks as it does on a machine whose clock is set,
and as after a sleep, in which the monotonic clock stands still. What files show as their times is the kernel's: real.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

import pytest

from coverage_audit.wiring import wall_clock

LIBRARY = "faketime/libfaketimeMT.so.1"

SLEEP = """\
import select, time
time.sleep = lambda seconds: select.select([], [], [], seconds) and None
"""
"""What every Python process by a moved clock begins with: the library (0.9.10) answers a sleep until an instant of the
monotonic clock, which is what `time.sleep` asks for, with EINVAL at times."""


def library() -> Path | None:
    """Where the library lies (None: it is not installed)."""
    return next(iter(sorted(Path("/usr/lib").glob(f"*/{LIBRARY}"))), None)


@dataclass(kw_only=True)
class MovedClock:
    """A clock that runs on from wherever it was set last."""

    file: Path
    ahead: float = 0.0

    def set(self, instant: datetime) -> None:
        """Set it, for every process that runs by it, at once."""
        self.ahead = instant.timestamp() - wall_clock().timestamp()
        part = self.file.with_suffix(".new")
        part.write_text(f"{self.ahead:+.3f}\n", "ascii")
        part.rename(self.file)

    def now(self) -> datetime:
        """What it shows."""
        return datetime.fromtimestamp(wall_clock().timestamp() + self.ahead, UTC)

    @property
    def environment(self) -> dict[str, str]:
        """What a process needs in its environment to run by it."""
        return {
            "LD_PRELOAD": str(library()),
            "FAKETIME_TIMESTAMP_FILE": str(self.file),
            "FAKETIME_CACHE_DURATION": "1",
            "FAKETIME_DONT_FAKE_MONOTONIC": "1",
            "PYTHONPATH": str(self.file.with_suffix(".python")),
            "TZ": "UTC",
        }


@pytest.fixture
def clock(tmp_path: Path) -> MovedClock:
    """A clock that shows the present until it is moved."""
    moved = MovedClock(file=tmp_path / "clock")
    moved.set(wall_clock())
    moved.file.with_suffix(".python").mkdir()
    (moved.file.with_suffix(".python") / "sitecustomize.py").write_text(SLEEP)
    return moved

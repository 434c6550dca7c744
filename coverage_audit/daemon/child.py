"""A process of the daemon's for one night or weekly page: started apart, looked at without waiting, ended whole.

Its standard input is its lifeline: when the daemon dies, however, it closes, and the process ends itself. Each device's
worker has such a lifeline to it in turn, so that nothing of a night outlives the daemon, save what the kernel holds.
"""

from __future__ import annotations

import contextlib
import os
import subprocess
import sys
import threading
import time
from dataclasses import dataclass
from pathlib import Path
from typing import Final, Protocol

import coverage_audit
from coverage_audit.collectors.sessions import end_session
from coverage_audit.daemon.errands import Errand, Report, packed, unpacked
from coverage_audit.errors import EX_ANOTHER_AUDIT

_MOST: Final = 1 << 16
"""Bytes of a report: it fits into a pipe, so that its writer never waits for a reader."""

_PATIENCE: Final = 2.0
"""Seconds for a killed process to be gone."""


@dataclass(frozen=True, kw_only=True)
class Ended:
    """How a process ended. `report` None: it said nothing, it crashed or was killed."""

    status: int
    report: Report | None

    @property
    def found_busy(self) -> bool:
        """Whether it did nothing because another audit was running."""
        return self.status == EX_ANOTHER_AUDIT

    @property
    def failure(self) -> str:
        """Say why it failed; empty where it did not."""
        if self.report is not None and self.status == 0:
            return ""
        if self.report is not None and self.report.failed:
            return self.report.failed
        if self.status < 0:
            return f"its process was ended by signal {-self.status}"
        return f"its process ended with status {self.status} and said nothing"


class Process(Protocol):
    """A process on one errand."""

    @property
    def pid(self) -> int:
        """Its number."""

    @property
    def runs_for(self) -> float:
        """Seconds since it was started."""

    def look(self) -> Ended | None:
        """Return how it ended, None while it runs. Never waits."""

    def end(self) -> None:
        """Kill it with all that it started."""


class Child:
    """A process on one errand, in a session of its own. Raises OSError where none can be started."""

    def __init__(self, errand: Errand) -> None:
        self.since = time.monotonic()
        self._pipe, theirs = os.pipe()
        os.set_blocking(self._pipe, False)
        try:
            self._process = subprocess.Popen(
                [sys.executable, "-P", "-m", "coverage_audit.daemon.child_process", str(theirs)],
                stdin=subprocess.PIPE,
                stdout=subprocess.DEVNULL,
                stderr=subprocess.DEVNULL,
                pass_fds=(theirs,),
                start_new_session=True,
                env=_environment(),
            )
        except OSError:
            os.close(self._pipe)
            raise
        finally:
            os.close(theirs)
        # In a thread: a process that never starts reading must not stop the tick.
        threading.Thread(target=self._hand_over, args=(packed(errand),), name="errand", daemon=True).start()

    @property
    def pid(self) -> int:
        """Its number."""
        return self._process.pid

    @property
    def runs_for(self) -> float:
        """Seconds since it was started."""
        return time.monotonic() - self.since

    def look(self) -> Ended | None:
        """Return how it ended (None: it runs); what it left running is ended with it, and waited for by nobody."""
        if os.waitid(os.P_PID, self.pid, os.WEXITED | os.WNOHANG | os.WNOWAIT) is None:
            return None
        # It keeps its number until it is waited for, so that no other process can be hit.
        end_session(self.pid)
        status = self._process.wait()
        said = b""
        with contextlib.suppress(BlockingIOError):
            said = os.read(self._pipe, _MOST)
        self._close()
        report = unpacked(said)
        return Ended(status=status, report=report if isinstance(report, Report) else None)

    def end(self) -> None:
        """Kill it with all that it started. One that the kernel holds is left behind; it holds nothing of ours."""
        end_session(self.pid)
        with contextlib.suppress(subprocess.TimeoutExpired):
            self._process.wait(_PATIENCE)
        self._close()

    def _hand_over(self, errand: bytes) -> None:
        if self._process.stdin is not None:
            with contextlib.suppress(OSError, ValueError):
                self._process.stdin.write(errand)
                self._process.stdin.flush()

    def _close(self) -> None:
        os.close(self._pipe)
        if self._process.stdin is not None:
            with contextlib.suppress(OSError):
                self._process.stdin.close()


def _environment() -> dict[str, str]:
    # The process runs this very package, also from a checkout, and never one that lies in the working folder.
    here = str(Path(coverage_audit.__file__).parents[1])
    before = os.environ.get("PYTHONPATH")
    return {**os.environ, "PYTHONPATH": os.pathsep.join(filter(None, (here, before)))}

"""One worker process: started in a session of its own, listened to without blocking, ended for certain."""

from __future__ import annotations

import contextlib
import os
import subprocess
import sys
import threading
import time
from pathlib import Path
from typing import Final

import coverage_audit
from coverage_audit.collectors.errands import Errand, Inbox, Word, packed
from coverage_audit.collectors.sessions import end_session

_PIECE: Final = 1 << 16
_PATIENCE: Final = 2.0  # seconds for a killed worker to be gone; one that a dead mount holds is left to itself


class ErrandProcess:
    """A worker on one errand.

    It is a plain process rather than one of `multiprocessing`, which would wait at exit for a worker that cannot
    be killed and run the parent's main module again in each. Standard input is its lifeline: when the
    auditor dies, it closes, and the worker ends itself and all that it started. It, and what it runs, is not given the
    variables of the environment that are named in `withheld`.
    """

    def __init__(self, errand: Errand, deadline: float, withheld: frozenset[str] = frozenset()) -> None:
        self.deadline = deadline
        self._inbox = Inbox()
        self.pipe, theirs = os.pipe()
        try:
            self._process = subprocess.Popen(
                [sys.executable, "-P", "-m", "coverage_audit.collectors.worker", str(theirs)],
                stdin=subprocess.PIPE,
                stdout=subprocess.DEVNULL,
                stderr=subprocess.DEVNULL,
                pass_fds=(theirs,),
                start_new_session=True,
                env=_environment(withheld),
            )
        except OSError:
            os.close(self.pipe)
            raise
        finally:
            os.close(theirs)
        os.set_blocking(self.pipe, False)
        self._hand_over(errand)

    def _hand_over(self, errand: Errand) -> None:
        # In a thread: a worker that never starts reading must not stop the auditor.
        def write() -> None:
            if self._process.stdin is not None:
                with contextlib.suppress(OSError, ValueError):
                    self._process.stdin.write(packed(errand))
                    self._process.stdin.flush()

        threading.Thread(target=write, name="errand", daemon=True).start()

    def words(self) -> tuple[list[Word], bool]:
        """Return what the worker has said since the last call, and whether it has closed its pipe."""
        said: list[Word] = []
        while True:
            try:
                piece = os.read(self.pipe, _PIECE)
            except BlockingIOError:
                return said, False
            if not piece:
                return said, True
            said += [word for word in self._inbox.take(piece) if isinstance(word, Word)]

    def has_died(self) -> bool:
        """Whether the worker is no more; it keeps its number until `end`, so that no other can be hit by that."""
        return os.waitid(os.P_PID, self._process.pid, os.WEXITED | os.WNOHANG | os.WNOWAIT) is not None

    @property
    def pid(self) -> int:
        """Its number."""
        return self._process.pid

    @property
    def is_late(self) -> bool:
        """Whether its time is over."""
        return time.monotonic() >= self.deadline

    def end(self) -> str:
        """Kill the worker with all that it started, and say how it went; never blocks for long."""
        end_session(self._process.pid)
        os.close(self.pipe)
        try:
            status = self._process.wait(_PATIENCE)
        except subprocess.TimeoutExpired:
            # The kernel holds it; a thread that nobody waits for takes it away when it is let go.
            threading.Thread(target=self._process.wait, name="abandoned", daemon=True).start()
            return "could not be ended"
        finally:
            if self._process.stdin is not None:
                with contextlib.suppress(OSError):
                    self._process.stdin.close()
        return f"was ended by signal {-status}" if status < 0 else f"ended with status {status}"


def _environment(withheld: frozenset[str]) -> dict[str, str]:
    # The worker runs this very package, also from a checkout, and never one that lies in the working folder.
    here = str(Path(coverage_audit.__file__).parents[1])
    before = os.environ.get("PYTHONPATH")
    given = {name: value for name, value in os.environ.items() if name not in withheld}
    return {**given, "PYTHONPATH": os.pathsep.join(filter(None, (here, before)))}

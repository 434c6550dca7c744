"""Processes of the daemon's that only say how they end, and logs that are read back."""

from __future__ import annotations

import io
import json
from dataclasses import dataclass, field
from typing import Any

from coverage_audit.daemon.child import Ended
from coverage_audit.daemon.errands import Errand, Report
from coverage_audit.daemon.log import Log
from coverage_audit.errors import EX_ANOTHER_AUDIT

FINE = Ended(status=0, report=Report(said="conforming"))
KILLED = Ended(status=-9, report=None)
BUSY = Ended(status=EX_ANOTHER_AUDIT, report=Report(failed="another audit is running"))


@dataclass(kw_only=True)
class FakeChild:
    """A process that runs until its `ended` is set."""

    errand: Errand
    ended: Ended | None = None
    pid: int = 4711
    runs_for: float = 1.0
    was_ended: bool = False

    def look(self) -> Ended | None:
        """How it ended."""
        return self.ended

    def end(self) -> None:
        """Be killed."""
        self.was_ended = True


@dataclass(kw_only=True)
class FakeChildren:
    """Starts such processes; `refusing`: none can be started."""

    started: list[FakeChild] = field(default_factory=list)
    refusing: bool = False

    def __call__(self, errand: Errand) -> FakeChild:
        """Start one."""
        if self.refusing:
            raise OSError(12, "Cannot allocate memory")
        self.started.append(FakeChild(errand=errand))
        return self.started[-1]

    @property
    def last(self) -> FakeChild:
        """The one started last."""
        return self.started[-1]


class KeptLog(Log):
    """A log that a test reads back."""

    def __init__(self) -> None:
        self._stream = io.StringIO()
        super().__init__(self._stream, as_json=True)

    def events(self, event: str | None = None) -> list[dict[str, Any]]:
        """What was said, or only the events of one name."""
        said = [json.loads(line) for line in self._stream.getvalue().splitlines()]
        return [one for one in said if event is None or one["event"] == event]

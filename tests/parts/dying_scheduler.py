"""The command line with a scheduler whose job store fails once, after some ticks: the library's thread dies of that."""

from __future__ import annotations

from typing import Any

from apscheduler.jobstores.memory import MemoryJobStore

from coverage_audit.cli.main import run

_TICKS = 3


class Failing(MemoryJobStore):  # type: ignore[misc]  # the library ships no types
    """Fails as a locked database would."""

    updates = 0

    def update_job(self, job: Any) -> None:
        """Fail at the third update."""
        type(self).updates += 1
        if self.updates == _TICKS:
            raise RuntimeError("database is locked")
        super().update_job(job)


if __name__ == "__main__":
    import coverage_audit.daemon.ticking

    coverage_audit.daemon.ticking.MemoryJobStore = Failing  # type: ignore[attr-defined]  # what the test is about
    run()

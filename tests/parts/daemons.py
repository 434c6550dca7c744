"""Real daemons on a test's station: started as a user would, read by their log, stopped at the end of the test."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
import time
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Protocol

import pytest

from tests.parts.station import Station

TICK = 0.5
PATIENCE_S = 60.0


@dataclass(kw_only=True)
class DaemonProcess:
    """A daemon that runs; `log` is the file that holds what it says, a JSON object a line."""

    process: subprocess.Popen[bytes]
    log: Path

    def events(self, event: str | None = None) -> list[dict[str, Any]]:
        """What it has said so far, or only the events of one name."""
        said = [json.loads(line) for line in self.log.read_text().splitlines() if line.startswith("{")]
        return [one for one in said if event is None or one["event"] == event]

    def wait_for(self, event: str, count: int = 1, *, seconds: float = PATIENCE_S, **fields: object) -> dict[str, Any]:
        """Wait until it has said this event so many times, with these fields; return the last of them."""
        until = time.monotonic() + seconds
        while time.monotonic() < until:
            over = self.process.poll() is not None
            found = [
                one for one in self.events(event) if all(one.get(name) == wanted for name, wanted in fields.items())
            ]
            if len(found) >= count:
                return found[-1]
            if over:
                break
            time.sleep(0.05)
        raise AssertionError(f"it did not say '{event}' {fields}:\n{self.log.read_text()}")

    def ticks(self, count: int = 3) -> None:
        """Wait for some ticks to pass in which it has nothing to do."""
        time.sleep(count * TICK + 1.2)  # a moved clock is read anew each second

    def stop(self, number: signal.Signals = signal.SIGTERM, *, seconds: float = 20) -> int:
        """Signal it and return the status with which it ends."""
        self.process.send_signal(number)
        return self.process.wait(seconds)

    def kill(self) -> None:
        """End it by `kill -9`."""
        self.process.kill()
        self.process.wait()


class StartDaemon(Protocol):
    """Starts a daemon."""

    def __call__(
        self,
        *words: str,
        environment: Mapping[str, str] | None = None,
        module: str = "coverage_audit",
        prefix: Sequence[str] = (),
    ) -> DaemonProcess:
        """Start one on the station, with further words of the command line; `prefix` runs it, and becomes it."""


@dataclass
class _Started:
    all: list[DaemonProcess] = field(default_factory=list)


@pytest.fixture
def start_daemon(station: Station) -> Iterator[StartDaemon]:
    """Starts daemons that end with the test."""
    started = _Started()

    def start(
        *words: str,
        environment: Mapping[str, str] | None = None,
        module: str = "coverage_audit",
        prefix: Sequence[str] = (),
    ) -> DaemonProcess:
        log = station.root / f"daemon-{len(started.all)}.log"
        command = [*prefix, sys.executable, "-m", module, "daemon", "--log", "json", "--tick", str(TICK)]
        command += ["--estate", str(station.estate_file), "--state", str(station.state), *words]
        with log.open("wb") as out:
            process = subprocess.Popen(
                command, stdin=subprocess.DEVNULL, stdout=out, stderr=out, env={**os.environ, **(environment or {})}
            )
        started.all.append(DaemonProcess(process=process, log=log))
        return started.all[-1]

    yield start
    for one in started.all:
        if one.process.poll() is None:
            one.kill()

"""What sends and what calls out ends with the process that waits for it."""

from __future__ import annotations

import subprocess
import sys
import time
from pathlib import Path

import pytest

from tests.parts.processes import runs
from tests.parts.waiting import wait_for

DELIVER = """
from coverage_audit.notices.delivery import deliver
from coverage_audit.notices.message import Message
message = Message(subject="s", text="t", html="<p>t</p>", short="t")
deliver("phone", "json://127.0.0.1:{port}?rto=50&cto=50", message, event="0" * 32)
"""
CALL = """
from datetime import UTC, date, datetime
from coverage_audit.daemon.alive import NightEnd, call
from coverage_audit.estate.model import Kept
from coverage_audit.ledger.past_record import NightOutcome
at = datetime(2026, 11, 27, tzinfo=UTC)
night = dict(event="0", estate="x", night=at.date(), finished=at, missed=0)
end = NightEnd(outcome=NightOutcome.FAILED, conclusion=None, **night)
call(Kept(url_env="URL"), dict(URL="http://127.0.0.1:{port}"), end)
"""
GUARDED = "if __name__ == '__main__':\n    {body}\n"


def senders_below(number: int) -> list[int]:
    """The processes that it started to send (its resource tracker ends by itself)."""
    found = []
    for entry in Path("/proc").glob("[0-9]*"):
        try:
            parent = int((entry / "stat").read_text().rpartition(")")[2].split()[1])
            sends = b"spawn_main" in (entry / "cmdline").read_bytes()
        except OSError:
            continue
        if parent == number and sends:
            found.append(int(entry.name))
    return found


@pytest.mark.parametrize("script", [DELIVER, CALL], ids=["notice", "call"])
def test_a_sender_whose_daemon_was_killed_ends_at_once(tmp_path: Path, silent_port: int, script: str) -> None:
    file = tmp_path / "waiting.py"
    body = script.format(port=silent_port).strip().replace("\n", "\n    ")
    file.write_text(GUARDED.format(body=body), encoding="utf-8")
    waiting = subprocess.Popen([sys.executable, str(file)], env={"PYTHONPATH": str(Path.cwd())})
    until = time.monotonic() + 60
    while not (senders := senders_below(waiting.pid)):
        assert time.monotonic() < until
        time.sleep(0.05)
    time.sleep(3)  # it starts, connects, and waits for an answer
    assert runs(senders[0])
    waiting.kill()
    waiting.wait()
    assert wait_for(lambda: not runs(senders[0]), 5)

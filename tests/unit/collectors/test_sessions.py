"""Ending a session ends all that was started in it, whatever process group it is in."""

from __future__ import annotations

import subprocess
import sys

from coverage_audit.collectors.sessions import end_session
from tests.parts.processes import descendants, runs
from tests.parts.waiting import wait_for


def test_every_process_of_a_session_is_killed_and_no_other() -> None:
    script = (
        "import subprocess, time\n"
        "subprocess.Popen(['sleep', '600'], process_group=0)\n"
        "subprocess.Popen(['sh', '-c', 'sleep 601; :'])\n"
        "time.sleep(600)\n"
    )
    leader = subprocess.Popen([sys.executable, "-c", script], start_new_session=True)
    bystander = subprocess.Popen(["sleep", "602"])
    assert wait_for(lambda: len(descendants(leader.pid)) == 3)
    members = descendants(leader.pid)

    end_session(leader.pid)

    assert leader.wait(10) == -9
    assert wait_for(lambda: not any(map(runs, members)))
    assert bystander.poll() is None
    bystander.kill()
    bystander.wait()


def test_a_session_that_is_gone_is_no_error() -> None:
    gone = subprocess.Popen(["true"], start_new_session=True)
    gone.wait()
    end_session(gone.pid)

from __future__ import annotations

import multiprocessing
import os
import signal
import subprocess
import sys
from pathlib import Path

import pytest

from coverage_audit.errors import EX_ANOTHER_AUDIT, LedgerBusyError
from coverage_audit.ledger.lock import Lock, held_here
from coverage_audit.ledger.opening import exclusive, open_ledger
from tests.builders.nights import filled
from tests.builders.recorded import a_judged


def test_another_audit_is_named_and_has_its_own_exit_status(state: Path) -> None:
    named = rf"process {os.getpid()}, since 20"
    with exclusive(state), pytest.raises(LedgerBusyError, match=named) as caught, exclusive(state):
        pass
    assert caught.value.exit_status == EX_ANOTHER_AUDIT
    with exclusive(state):
        pass


def test_a_second_try_does_not_take_the_lock_from_the_first(state: Path) -> None:
    with exclusive(state):
        for _ in range(2):
            with pytest.raises(LedgerBusyError), exclusive(state):
                pass
        open_ledger(state).staging(a_judged().started)
        open_ledger(state)
        assert list((state / "staging").iterdir()) == []  # it is still swept: the first still holds it


def _hold(state: Path, ready: multiprocessing.synchronize.Event) -> None:
    with exclusive(state):
        ready.set()
        signal.pause()


def test_the_lock_of_a_killed_audit_is_free(state: Path) -> None:
    context = multiprocessing.get_context("spawn")
    ready = context.Event()
    holder = context.Process(target=_hold, args=(state, ready))
    holder.start()
    assert ready.wait(30)
    with pytest.raises(LedgerBusyError, match=f"process {holder.pid}"), exclusive(state):
        pass
    holder.kill()
    holder.join()
    with exclusive(state):
        pass


def test_opening_to_read_takes_nothing_away_from_an_audit_that_is_running(state: Path, url: str | None) -> None:
    with exclusive(state):
        ledger = filled(state, url)
        staging = ledger.staging(a_judged().started)
        code = (
            "import sys, pathlib; from coverage_audit.ledger.opening import open_ledger;"
            "print(open_ledger(pathlib.Path(sys.argv[1]), *sys.argv[2:]).finding_ids())"
        )
        words = [sys.executable, "-c", code, str(state), *([url] if url else [])]
        reader = subprocess.run(words, check=True, capture_output=True, text=True, timeout=60)
        assert "copies:field-recordings" in reader.stdout
        assert staging.is_dir()


def test_an_audit_a_daemon_and_a_sender_do_not_stand_in_each_others_way(state: Path) -> None:
    with exclusive(state, Lock.DAEMON), exclusive(state, Lock.SENDING):
        assert not held_here(state)  # whoever opens the ledger now clears nothing away
        with exclusive(state):
            assert held_here(state)


def test_a_second_daemon_is_told_which_process_is_the_first(state: Path) -> None:
    named = f"another daemon works on .*process {os.getpid()}, since"
    with exclusive(state, Lock.DAEMON), pytest.raises(LedgerBusyError, match=named), exclusive(state, Lock.DAEMON):
        pass


def test_a_holder_holds_no_file_open_for_writing(state: Path) -> None:
    with exclusive(state, Lock.DAEMON):
        lock = state / "daemon.lock"
        (held,) = [one for one in Path("/proc/self/fd").iterdir() if one.exists() and one.readlink() == lock]
        flags = int(Path(f"/proc/self/fdinfo/{held.name}").read_text().split("flags:")[1].split()[0], 8)
        assert flags & os.O_ACCMODE == os.O_RDONLY


def test_what_a_holder_starts_does_not_hold_the_lock_on(state: Path) -> None:
    with exclusive(state):
        child = subprocess.Popen(["sleep", "30"], close_fds=False)
    try:
        with exclusive(state):
            pass
    finally:
        child.kill()
        child.wait()

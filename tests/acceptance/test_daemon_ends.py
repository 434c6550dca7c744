"""A real daemon that is stopped, killed, started twice, given a broken estate, or whose night fails."""

from __future__ import annotations

import os
import signal
import time
from datetime import UTC, datetime, timedelta

import pytest

from coverage_audit.errors import EX_ANOTHER_AUDIT, EX_ESTATE_WRONG, EX_SOFTWARE
from coverage_audit.ledger.lock import Lock
from coverage_audit.ledger.opening import exclusive, open_ledger
from coverage_audit.ledger.past_record import NightOutcome, NightRecord
from tests.builders.two_places import two_places
from tests.parts.daemons import DaemonProcess, StartDaemon
from tests.parts.mailbox import Mailbox
from tests.parts.moved_clock import MovedClock
from tests.parts.processes import descendants, runs
from tests.parts.station import Station
from tests.parts.waiting import wait_for

EACH_NIGHT = """\
schedule: {audit: "02:30"}
notices:
  mail: {url_env: MAIL_URL, send: [failing]}
"""
BEGINNING = datetime(1970, 1, 1, tzinfo=UTC)


@pytest.fixture
def quiet(station: Station) -> Station:
    """A station where all is well."""
    station.declare(two_places() + EACH_NIGHT)
    station.write("kestrel/recordings/take-1.wav")
    station.mirror("kestrel/recordings", "heron/recordings")
    return station


def nights_of(station: Station) -> tuple[NightRecord, ...]:
    with open_ledger(station.state) as ledger:
        return ledger.nights.since(BEGINNING)


def in_its_night(daemon: DaemonProcess) -> int:
    """Wait until a device's worker works for its night; the night's process."""
    process = int(daemon.wait_for("night begun")["process"])
    assert wait_for(lambda: bool(descendants(process)))
    return process


def make_slow(station: Station) -> None:
    """Let an audit take a while."""
    for folder in range(60):
        for file in range(50):
            station.write(f"kestrel/recordings/{folder}/{file}.wav")


@pytest.mark.parametrize("number", [signal.SIGTERM, signal.SIGINT])
def test_a_signal_in_the_middle_of_a_night_ends_all_of_it_within_seconds(
    quiet: Station, start_daemon: StartDaemon, number: signal.Signals
) -> None:
    make_slow(quiet)
    daemon = start_daemon()
    night = in_its_night(daemon)
    workers = descendants(night)

    before = time.monotonic()
    assert daemon.stop(number) == 0
    assert time.monotonic() - before < 8
    assert wait_for(lambda: not any(map(runs, {night, *workers})), 5)
    daemon.wait_for("night cut off")

    (cut,) = nights_of(quiet)
    assert (cut.outcome, cut.finished) == (None, None)
    with exclusive(quiet.state), open_ledger(quiet.state) as ledger:  # whole, and what was begun is swept
        assert ledger.past.look_back(BEGINNING, datetime(2100, 1, 1, tzinfo=UTC)).audits == ()
        assert list((quiet.state / "staging").iterdir()) == []

    again = start_daemon()
    again.wait_for("night ended")
    assert again.stop() == 0
    (whole,) = nights_of(quiet)
    assert (whole.night, whole.outcome) == (cut.night, NightOutcome.AUDITED)


def test_nothing_of_a_daemon_outlives_its_kill(quiet: Station, start_daemon: StartDaemon) -> None:
    make_slow(quiet)
    daemon = start_daemon()
    night = in_its_night(daemon)
    workers = descendants(night)
    daemon.kill()
    assert wait_for(lambda: not any(map(runs, {night, *workers})), 10)
    with exclusive(quiet.state), exclusive(quiet.state, Lock.DAEMON):
        pass


def test_a_second_daemon_is_refused_and_told_who_the_first_is(quiet: Station, start_daemon: StartDaemon) -> None:
    first = start_daemon()
    first.wait_for("daemon started")
    second = start_daemon()
    assert second.process.wait(30) == EX_ANOTHER_AUDIT
    assert f"another daemon works on {quiet.state}: process {first.process.pid}, since" in second.log.read_text()
    assert first.process.poll() is None


def test_without_a_time_for_the_audit_there_is_one_clear_message(station: Station, start_daemon: StartDaemon) -> None:
    station.declare(two_places())
    daemon = start_daemon()
    assert daemon.process.wait(30) == EX_ESTATE_WRONG
    (line,) = daemon.log.read_text().splitlines()
    assert "no time for the audit is declared" in line


@pytest.mark.slow
def test_a_night_whose_process_is_killed_is_tried_again_and_then_given_up_and_told(
    quiet: Station, clock: MovedClock, mailbox: Mailbox, start_daemon: StartDaemon
) -> None:
    make_slow(quiet)
    start = datetime(2026, 11, 2, 9, tzinfo=UTC)
    clock.set(start)
    daemon = start_daemon(environment={**clock.environment, "MAIL_URL": mailbox.address()})
    for times, wait in enumerate((timedelta(minutes=5), timedelta(minutes=30), timedelta(hours=2)), start=1):
        os.kill(int(daemon.wait_for("night begun", tries=times)["process"]), signal.SIGKILL)
        failed = daemon.wait_for("night failed", times=times)
        assert failed["why"] == "its process was ended by signal 9"
        again = datetime.fromisoformat(failed["again"])
        assert wait - timedelta(minutes=1) < again - datetime.fromisoformat(failed["time"]) <= wait
        daemon.ticks()
        assert len(daemon.events("night begun")) == times  # not before its time
        clock.set(again + timedelta(seconds=1))
    os.kill(int(daemon.wait_for("night begun", tries=4)["process"]), signal.SIGKILL)
    daemon.wait_for("night given up")
    assert wait_for(lambda: nights_of(quiet)[0].outcome is not None)
    (given_up,) = nights_of(quiet)
    assert (given_up.outcome, given_up.detail) == (NightOutcome.FAILED, "its process was ended by signal 9")
    assert wait_for(lambda: len(mailbox.letters) == 1)
    assert "no audit in the night of 2026-11-02" in str(mailbox.letters[0]["Subject"])

    clock.set(start + timedelta(days=1))
    daemon.wait_for("night ended", night="2026-11-03")
    assert daemon.stop() == 0


def test_a_broken_estate_is_refused_told_once_and_the_last_good_one_stays(
    quiet: Station, mailbox: Mailbox, start_daemon: StartDaemon
) -> None:
    environment = {"MAIL_URL": mailbox.address()}
    good = quiet.estate_file.read_text()
    daemon = start_daemon(environment=environment)
    daemon.wait_for("night ended")
    quiet.estate_file.write_text(good + "\nnonsense: 1\n")
    assert "nonsense" in daemon.wait_for("estate refused")["why"]
    assert wait_for(lambda: len(mailbox.letters) == 1)
    letter = mailbox.letters[0]
    assert str(letter["Subject"]) == "Saltreach Field Station: the changed estate file is refused"
    assert "nonsense" in str(letter.get_body(("plain",)))
    daemon.ticks()
    assert daemon.stop() == 0

    again = start_daemon(environment=environment)  # over a restart: the estate that the ledger kept
    again.wait_for("estate refused")
    again.wait_for("daemon started")
    again.ticks()
    quiet.estate_file.write_text(good.replace("careful:", "careful: ") + "\n# mended\n")
    again.process.send_signal(signal.SIGHUP)
    again.wait_for("estate re-read")
    assert again.stop() == 0
    assert len(mailbox.letters) == 1


def test_a_broken_estate_and_no_earlier_one_is_no_beginning(quiet: Station, start_daemon: StartDaemon) -> None:
    quiet.estate_file.write_text("nonsense")
    daemon = start_daemon()
    assert daemon.process.wait(30) == EX_ESTATE_WRONG


def test_a_scheduler_that_dies_takes_the_process_with_it(quiet: Station, start_daemon: StartDaemon) -> None:
    daemon = start_daemon(module="tests.parts.dying_scheduler")
    assert daemon.process.wait(60) == EX_SOFTWARE
    assert "database is locked" in daemon.wait_for("the scheduler died")["why"]
    with exclusive(quiet.state, Lock.DAEMON):
        pass

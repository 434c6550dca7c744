"""A real daemon whose state folder's disk is full, read-only, or taken away: told once a day, taken up when mended."""

from __future__ import annotations

import subprocess
from collections.abc import Iterator
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import pytest

from coverage_audit.ledger.opening import open_ledger
from coverage_audit.ledger.past_record import NightOutcome
from tests.builders.two_places import two_places
from tests.parts.daemons import DaemonProcess, StartDaemon
from tests.parts.mailbox import Mailbox
from tests.parts.moved_clock import MovedClock
from tests.parts.station import Station
from tests.parts.waiting import wait_for

pytestmark = [pytest.mark.root, pytest.mark.slow]

NIGHTLY = """\
schedule: {audit: "02:30"}
notices:
  mail: {url_env: MAIL_URL, send: [failing]}
"""
FIRST = datetime(2026, 11, 2, 9, tzinfo=UTC)
SECOND_NIGHT = datetime(2026, 11, 3, 2, 30, 5, tzinfo=UTC)
THIRD_NIGHT = SECOND_NIGHT + timedelta(days=1)
LOST = "Saltreach Field Station: the auditor cannot use its ledger: no audits"
GIVEN_UP = "Saltreach Field Station: no audit in the night of 2026-11-03"


@pytest.fixture
def disk(station: Station) -> Iterator[Path]:
    """A small disk of its own that is the state folder of a station where all is well."""
    station.declare(NIGHTLY + two_places())
    station.write("kestrel/recordings/take-1.wav")
    station.mirror("kestrel/recordings", "heron/recordings")
    station.state.mkdir()
    subprocess.run(["mount", "-t", "tmpfs", "-o", "size=8m,mode=0700", "tmpfs", station.state], check=True)
    yield station.state
    subprocess.run(["umount", "-l", station.state], check=False, capture_output=True)


@pytest.fixture
def daemon(
    disk: Path, station: Station, clock: MovedClock, mailbox: Mailbox, start_daemon: StartDaemon
) -> Iterator[DaemonProcess]:
    """A daemon that has had one night and waits for the next."""
    assert disk == station.state
    clock.set(FIRST)
    started = start_daemon(environment={**clock.environment, "MAIL_URL": mailbox.address()})
    started.wait_for("night ended", night="2026-11-02")
    yield started
    if started.process.poll() is None:
        started.stop()


def fill(disk: Path) -> Path:
    """Leave no room."""
    filler = disk / "filler"
    with filler.open("wb", buffering=0) as out:
        for size in (1 << 16, 1 << 10, 1):
            try:
                while True:
                    out.write(bytes(size))
            except OSError:
                continue
    return filler


def subjects(mailbox: Mailbox) -> list[str]:
    """What the auditor said of itself."""
    said = [str(letter["Subject"]) for letter in mailbox.letters]
    return [subject for subject in said if not subject.startswith("[rehearsal]")]


def lost(daemon: DaemonProcess, why: str) -> bool:
    """Whether it says that its ledger cannot be used, and why."""
    return wait_for(lambda: any(why in one["why"] for one in daemon.events("ledger cannot be used")))


def test_a_full_disk_costs_the_nights_until_there_is_room_and_is_told(
    disk: Path, daemon: DaemonProcess, clock: MovedClock, mailbox: Mailbox
) -> None:
    filler = fill(disk)
    clock.set(SECOND_NIGHT)
    for times in range(1, 4):
        failed = daemon.wait_for("night failed", times=times)
        assert "full" in failed["why"]
        clock.set(datetime.fromisoformat(failed["again"]) + timedelta(seconds=1))
    daemon.wait_for("night given up", night="2026-11-03")
    assert wait_for(lambda: len(subjects(mailbox)) > 0)
    assert set(subjects(mailbox)) <= {LOST, GIVEN_UP}

    filler.unlink()
    clock.set(THIRD_NIGHT)
    daemon.wait_for("night ended", night="2026-11-04")
    assert wait_for(lambda: GIVEN_UP in subjects(mailbox))
    daemon.ticks()
    assert daemon.stop() == 0
    assert subjects(mailbox).count(GIVEN_UP) == 1
    with open_ledger(disk) as ledger:
        nights = {night.night: night.outcome for night in ledger.nights.since(FIRST - timedelta(days=9))}
    assert nights == {
        date(2026, 11, 2): NightOutcome.AUDITED,
        date(2026, 11, 3): NightOutcome.FAILED,
        date(2026, 11, 4): NightOutcome.AUDITED,
    }


def test_a_disk_that_became_read_only_is_told_past_the_ledger_and_taken_up_when_it_can_be_written(
    disk: Path, daemon: DaemonProcess, clock: MovedClock, mailbox: Mailbox
) -> None:
    remount = ["mount", "-o", "remount,ro", str(disk)]  # refused while something is open for writing, as in a tick
    assert wait_for(lambda: subprocess.run(remount, check=False, capture_output=True).returncode == 0)
    assert lost(daemon, "read-only")
    assert subjects(mailbox) == []
    clock.set(FIRST + timedelta(minutes=16))
    assert wait_for(lambda: subjects(mailbox) == [LOST])
    clock.set(FIRST + timedelta(hours=6))
    daemon.ticks()
    assert subjects(mailbox) == [LOST]

    clock.set(SECOND_NIGHT)
    failed = daemon.wait_for("night failed", night="2026-11-03", times=1)
    subprocess.run(["mount", "-o", "remount,rw", disk], check=True)
    daemon.wait_for("ledger in use again")
    clock.set(datetime.fromisoformat(failed["again"]) + timedelta(seconds=1))
    daemon.wait_for("night ended", night="2026-11-03")
    assert daemon.stop() == 0


def test_a_disk_that_was_unmounted_is_no_reason_to_begin_a_new_ledger(
    disk: Path, daemon: DaemonProcess, clock: MovedClock, mailbox: Mailbox
) -> None:
    subprocess.run(["umount", "-l", disk], check=True)
    assert lost(daemon, "was its disk unmounted?")
    clock.set(SECOND_NIGHT)
    daemon.wait_for("night failed", night="2026-11-03")
    assert wait_for(lambda: subjects(mailbox) == [LOST])
    assert daemon.stop() == 0
    assert not (disk / "seed").exists()  # no ledger was begun there

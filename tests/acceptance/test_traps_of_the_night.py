"""Ways in which an unattended auditor looks well while it is not: it stands still, a target hangs, nobody was told.

Where each is held, beside what follows here:

it did not run, or crashed, and no report shows it
    `test_daemon_nights` and `unit/notices/test_news_of_nights`: missed nights are said, once
nobody outside notices
    `unit/daemon/test_alive`: an address outside is called after each night, also of one that failed;
    `unit/audits/test_status` and `unit/daemon/test_metrics`: an audit that is too old, whatever it concluded
the scheduler is dead and the process lives
    `test_daemon_ends`: it takes the process with it
a target hangs, and its last result is shown as if it were new
    `test_mounts_that_hang`: not in the audit, nor on its page
a delivery in part counts as delivered
    `test_notices_delivered`: one of two recipients is refused, an address calls itself optional; `test_outbox_sent`,
    `test_outbox_killed` and `test_daemon_killed`: what was not taken is sent until it is
nobody reads the mailbox
    `test_weekly_mail`: each mail asks for a word, and says of which addresses nobody gave it
"""

from __future__ import annotations

import re
import signal
import socket
import time
from datetime import datetime, timedelta
from pathlib import Path

import pytest

from coverage_audit.errors import EX_EVIDENCE_MISSING, EX_NOTICE_FAILED, EX_SOFTWARE
from tests.acceptance.test_boxes_that_fail import declare, mirrored
from tests.builders.two_places import two_places
from tests.parts.daemons import StartDaemon
from tests.parts.mailbox import Mailbox
from tests.parts.moved_clock import MovedClock
from tests.parts.sshd import Box
from tests.parts.station import Ran, Station
from tests.parts.tampering import StartTampering

__all__ = ["mirrored"]  # a fixture

SCHEDULE = 'schedule: {audit: "02:30", summary: "Mon 07:00"}\n'
DAY = timedelta(days=1)


@pytest.fixture
def quiet(station: Station) -> Station:
    """A station where all is well."""
    station.declare(two_places() + SCHEDULE)
    station.write("kestrel/recordings/take-1.wav")
    station.mirror("kestrel/recordings", "heron/recordings")
    return station


def words(page: Path) -> str:
    """What a page says, without its marks."""
    return " ".join(re.sub(r"<[^>]+>", " ", page.read_text().partition("<main")[2]).split())


def evidence(status: Ran) -> dict[str, datetime]:
    """When each part of the estate was seen last, as the status says."""
    return {one["name"]: datetime.fromisoformat(one["at"]) for one in status.object["evidence"]}


def test_each_report_bears_the_number_of_its_run_and_the_moments_of_which_it_speaks(quiet: Station) -> None:
    page = quiet.root / "page.html"
    first = quiet.command("audit", "--json", "--html", str(page)).object
    second = quiet.command("audit")

    assert first["number"] == 1
    assert first["started"] < first["finished"]
    assert f'Coverage audit no. 1 of <time datetime="{first["started"][:19]}' in page.read_text()
    assert "(audit no. 2)" in " ".join(second.out.split())


def test_nights_without_an_audit_stand_on_the_weekly_page_with_their_dates(quiet: Station) -> None:
    for ago in (9, 8, 2, 1):
        quiet.ahead = -ago * DAY
        quiet.night()
    quiet.ahead = timedelta(0)
    first, last = ((quiet.now() - ago * DAY).date() for ago in (7, 3))

    quiet.command("summary", "--html", str(quiet.root / "week.html"))

    assert re.search(rf"{first} to {last}, 5 nights", words(quiet.root / "week.html"))


def test_a_daemon_that_lives_and_stands_still_is_overdue_to_whoever_asks_from_outside(
    quiet: Station, clock: MovedClock, start_daemon: StartDaemon
) -> None:
    daemon = start_daemon(environment=clock.environment)
    daemon.wait_for("night ended")
    assert quiet.command("status", environment=clock.environment).status == 0

    daemon.process.send_signal(signal.SIGSTOP)
    clock.set(clock.now() + 2 * DAY)
    time.sleep(1.5)
    status = quiet.command("status", "--json", environment=clock.environment)

    assert daemon.process.poll() is None
    assert status.status == EX_EVIDENCE_MISSING
    assert (status.object["standing"], status.object["conclusion"]) == ("overdue", "conforming")
    assert status.object["daemon"] is not None  # a process that is there is no sign of life


def test_a_tick_that_hangs_ends_the_process_and_pets_no_watchdog(quiet: Station, start_daemon: StartDaemon) -> None:
    place = quiet.root / "notify"
    with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as heard:
        heard.bind(str(place))
        heard.settimeout(0.2)
        environment = {"NOTIFY_SOCKET": str(place), "WATCHDOG_USEC": "1000000"}
        daemon = start_daemon(module="tests.parts.hanging_tick", environment=environment)
        pets: list[float] = []
        while daemon.process.poll() is None:
            try:
                pets += [time.monotonic()] if b"WATCHDOG=1" in heard.recv(4096) else []
            except TimeoutError:
                continue
        ended = time.monotonic()

    assert daemon.process.returncode == EX_SOFTWARE
    assert len(daemon.events("the tick hangs: the process ends")) == 1
    assert pets
    assert ended - pets[-1] > 2  # systemd.service(5), WatchdogSec=: without a pet for so long it kills


def test_what_a_target_that_hangs_showed_before_is_told_with_its_age_and_never_as_new(
    mirrored: Station, box: Box, tampered_line: StartTampering
) -> None:
    declare(mirrored, box)
    mirrored.night()
    before = evidence(mirrored.command("status", "--json"))
    declare(mirrored, box, tampered_line(box.port, hang_after=150_000))

    mirrored.night()

    status = mirrored.command("status", "--json")
    after = evidence(status)
    hung, other = (f"field-recordings at {place}/recordings" for place in ("heron:pool", "curlew:store"))
    assert status.object["conclusion"] == "unverified"
    assert after[hung] == before[hung]
    assert after[other] > before[other]
    mirrored.command("summary", "--html", str(mirrored.root / "week.html"))
    page = words(mirrored.root / "week.html")
    assert re.search(r"heron:pool/recordings .{0,120}unverified", page)
    assert f"last seen {before[hung].astimezone(mirrored.estate.time_zone):%Y-%m-%d %H:%M}" in page


def test_a_notice_that_reached_one_of_two_waits_for_the_other_and_is_known_to_wait(
    station: Station, mailbox: Mailbox
) -> None:
    station.declare(two_places() + "notices:\n  both: {url_env: MAIL_URL, send: [failing]}\n" + SCHEDULE)
    station.write("kestrel/recordings/take-1.wav")
    (station.root / "heron").mkdir()
    mail = {"MAIL_URL": mailbox.address("owner@station.example,warden@station.example")}
    mailbox.refused = {"warden@station.example"}

    ran = station.command("audit", "--notify", environment=mail)

    assert ran.status == EX_NOTICE_FAILED
    (waiting,) = station.command("status", "--json").object["undelivered"]
    assert (waiting["target"], waiting["tries"]) == ("both", 1)
    assert mailbox.recipients == ["owner@station.example"]

    mailbox.refused = set()
    assert station.command("audit", "--notify", environment=mail).status == 1  # as the copy is
    assert station.command("status", "--json").object["undelivered"] == []
    assert sorted(mailbox.recipients) == ["owner@station.example", "warden@station.example"]

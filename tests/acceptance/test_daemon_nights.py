"""A real daemon by a clock that is moved: exactly one audit each local date, whatever the clock does.

Clock changes are those of the IANA time zone database (package tzdata): Berlin, 2026-10-25, 03:00 summer time is
followed by 02:00 winter time, so 02:30 comes at 00:30 and at 01:30 UTC; 2027-03-28, 02:00 is followed by 03:00, so
02:30 never comes.
"""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta

import pytest

from coverage_audit.ledger.opening import open_ledger
from coverage_audit.ledger.past_record import NightOutcome, NightRecord
from tests.builders.two_places import two_places
from tests.parts.daemons import DaemonProcess, StartDaemon
from tests.parts.mailbox import Mailbox
from tests.parts.moved_clock import MovedClock
from tests.parts.station import Station

BERLIN = """\
schedule: {audit: "02:30", summary: "Mon 07:00"}
notices:
  mail: {url_env: MAIL_URL, send: [failing, recovered]}
  monday: {url_env: MONDAY_URL, send: [summary]}
"""


def utc(text: str) -> datetime:
    return datetime.fromisoformat(text).replace(tzinfo=UTC)


def nights_of(station: Station) -> tuple[NightRecord, ...]:
    with open_ledger(station.state) as ledger:
        return ledger.nights.since(utc("1970-01-01"))


def audits_of(station: Station) -> int:
    with open_ledger(station.state) as ledger:
        return len(ledger.past.look_back(utc("1970-01-01"), utc("2100-01-01")).audits)


@dataclass(kw_only=True)
class Calendar:
    """A daemon and its clock."""

    daemon: DaemonProcess
    clock: MovedClock

    def nothing_at(self, *instants: str) -> None:
        before = len(self.daemon.events("night begun"))
        for instant in instants:
            self.clock.set(utc(instant))
            self.daemon.ticks()
        assert len(self.daemon.events("night begun")) == before

    def night_at(self, instant: str, night: str) -> None:
        self.clock.set(utc(instant))
        self.daemon.wait_for("night ended", night=night)


@pytest.fixture
def in_berlin(station: Station) -> Station:
    station.declare(two_places() + BERLIN)
    station.estate_file.write_text(station.estate_file.read_text().replace("Europe/Dublin", "Europe/Berlin"))
    station.write("kestrel/recordings/take-1.wav")
    station.mirror("kestrel/recordings", "heron/recordings")
    return station


def environment(clock: MovedClock, mailbox: Mailbox) -> dict[str, str]:
    weekly = mailbox.address(to="monday@station.example")
    return {**clock.environment, "MAIL_URL": mailbox.address(), "MONDAY_URL": weekly}


def told(mailbox: Mailbox) -> list[str]:
    """What was mailed of nights without an audit."""
    to_owner = [letter for letter in mailbox.letters if "monday" not in str(letter["To"])]
    texts = [str(letter["Subject"]) + letter.get_body(("plain",)).get_content() for letter in to_owner]  # type: ignore[union-attr]  # each has one
    return [text for text in texts if "no audit" in text]


def whole(station: Station, count: int) -> dict[date, int]:
    """Each night was audited once, so many in all; those before which some were missed, with how many."""
    nights = nights_of(station)
    assert all(night.outcome is NightOutcome.AUDITED for night in nights), nights
    assert max(Counter(night.night for night in nights).values()) == 1
    assert audits_of(station) == len(nights) == count
    return {night.night: night.missed for night in nights if night.missed}


@pytest.mark.slow
def test_in_autumn_when_clocks_go_back_and_after_sleeping_there_is_one_audit_each_date(
    in_berlin: Station, clock: MovedClock, mailbox: Mailbox, start_daemon: StartDaemon
) -> None:
    clock.set(utc("2026-10-24T10:00"))
    daemon = start_daemon(environment=environment(clock, mailbox))
    calendar = Calendar(daemon=daemon, clock=clock)
    daemon.wait_for("night ended", night="2026-10-24")

    # 02:30 comes twice, and the clock is set back by hand besides.
    calendar.nothing_at("2026-10-25T00:29:30")
    calendar.night_at("2026-10-25T00:30:01", "2026-10-25")
    calendar.nothing_at("2026-10-25T01:29:30", "2026-10-25T01:30:30", "2026-10-25T00:10", "2026-10-25T00:31")
    assert [one["seconds"] < 0 for one in daemon.events("clock set back")] == [True]
    calendar.nothing_at("2026-10-26T01:29:30")
    calendar.night_at("2026-10-26T01:30:01", "2026-10-26")

    # The weekly page, at 07:00 winter time.
    calendar.nothing_at("2026-10-26T05:59:30")
    assert daemon.events("weekly page made") == []
    clock.set(utc("2026-10-26T06:00:01"))
    daemon.wait_for("weekly page made", page_of="2026-10-26")

    # The machine sleeps beyond the time of a night, and for four nights: one audit catches up.
    calendar.night_at("2026-10-27T20:00", "2026-10-27")
    calendar.night_at("2026-11-01T09:00", "2026-11-01")
    assert len(daemon.events("weekly page made")) == 1
    (missed,) = daemon.events("nights missed")
    assert (missed["count"], missed["since"]) == (4, "2026-10-28")

    # It sleeps over the time of a night and of a page: the page waits for the night.
    clock.set(utc("2026-11-02T10:00"))
    daemon.wait_for("weekly page made", page_of="2026-11-02")
    said = [one["event"] for one in daemon.events() if "2026-11-02" in (one.get("night"), one.get("page_of"))]
    assert said == ["night begun", "night ended", "weekly page made"]
    daemon.wait_for("notice delivered", 2, target="monday")
    assert daemon.stop() == 0

    assert whole(in_berlin, 6) == {date(2026, 11, 1): 4}
    assert len(told(mailbox)) == 1
    assert mailbox.recipients.count("monday@station.example") == 2


@pytest.mark.slow
def test_in_spring_and_over_restarts_there_is_one_audit_each_date(
    in_berlin: Station, clock: MovedClock, mailbox: Mailbox, start_daemon: StartDaemon
) -> None:
    surroundings = environment(clock, mailbox)
    clock.set(utc("2027-03-24T10:00"))
    daemon = start_daemon(environment=surroundings)
    daemon.wait_for("night ended", night="2027-03-24")
    assert daemon.stop() == 0

    # A restart repeats nothing.
    daemon = start_daemon(environment=surroundings)
    daemon.wait_for("daemon started")
    Calendar(daemon=daemon, clock=clock).nothing_at("2027-03-24T11:00")
    assert daemon.stop() == 0

    # Nights that pass while it is stopped are caught up at its start.
    clock.set(utc("2027-03-27T12:00"))
    daemon = start_daemon(environment=surroundings)
    calendar = Calendar(daemon=daemon, clock=clock)
    daemon.wait_for("nights missed")
    daemon.wait_for("night ended", night="2027-03-27")

    # 02:30 is left out; the night begins once all the same.
    calendar.nothing_at("2027-03-28T00:59")
    calendar.night_at("2027-03-28T01:31", "2027-03-28")
    calendar.nothing_at("2027-03-28T02:31", "2027-03-28T23:00", "2027-03-29T00:29")
    calendar.night_at("2027-03-29T00:31", "2027-03-29")
    assert daemon.stop() == 0

    assert whole(in_berlin, 4) == {date(2027, 3, 27): 2}
    assert len(told(mailbox)) == 1


@pytest.mark.slow
def test_a_machine_whose_clock_begins_in_1970_ticks_on_when_it_is_set_right(
    in_berlin: Station, clock: MovedClock, mailbox: Mailbox, start_daemon: StartDaemon
) -> None:
    clock.set(utc("1970-01-02T00:00"))
    daemon = start_daemon(environment=environment(clock, mailbox))
    daemon.wait_for("the clock is not set: no night begins")
    daemon.ticks()
    clock.set(utc("2026-11-02T09:00"))
    daemon.wait_for("night ended", night="2026-11-02")
    clock.set(utc("2026-11-02T09:00") - timedelta(days=400))
    daemon.wait_for("clock set back")
    daemon.ticks()
    clock.set(utc("2026-11-03T09:00"))
    daemon.wait_for("night ended", night="2026-11-03")
    assert daemon.stop() == 0
    assert [night.night for night in nights_of(in_berlin)] == [date(2026, 11, 2), date(2026, 11, 3)]
    assert daemon.events("nights missed") == []

"""A real daemon on a small estate, its night's process and its devices' workers, killed with `kill -9` at random.

It tells by mail, to an endpoint, and calls another address after each night; the endpoint fails at random. In the end
every notice and the last night's call has arrived. An event arrives twice only where a kill fell between the server's
acceptance and the record of it, and then under the same name. The ledger opens, and no night is counted twice.
"""

from __future__ import annotations

import contextlib
import itertools
import os
import random
import signal
import time
from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import UTC, date, datetime, timedelta
from datetime import time as wall_time
from pathlib import Path

import pytest
from sqlalchemy import func, select

from coverage_audit.daemon.alive import night_end
from coverage_audit.ledger.ledger import Ledger
from coverage_audit.ledger.opening import exclusive, open_ledger
from coverage_audit.ledger.past_record import NightOutcome, NightRecord
from coverage_audit.ledger.tables import DELIVERIES, TRANSITIONS
from coverage_audit.ledger.tables_of_nights import NIGHTS, OUTBOX
from tests.builders.two_places import two_places
from tests.parts.daemons import DaemonProcess, StartDaemon
from tests.parts.mailbox import Endpoint, Mailbox
from tests.parts.moved_clock import MovedClock
from tests.parts.processes import descendants
from tests.parts.station import Station
from tests.parts.waiting import wait_for

ROUNDS = int(os.environ.get("COVERAGE_AUDIT_KILLS", "30"))
LONGEST_S = 4.0
"""So long after a moment of note a kill may fall: a night takes some seconds here, and so does it to tell of it."""
ORPHAN_S = 8.0
"""How long a message that was under way may still take to arrive once its daemon is killed."""
DAY = timedelta(days=1)
AUDITED = NightOutcome.AUDITED
BEGINNING = datetime(1970, 1, 1, tzinfo=UTC)
UNATTENDED = """\
schedule: {audit: "02:30"}
alive: {url_env: ALIVE_URL}
notices:
  mail: {url_env: MAIL_URL, send: [failing, recovered]}
  phone: {url_env: PHONE_URL, send: [failing, recovered]}
"""


def is_a_night(number: int) -> bool:
    with contextlib.suppress(OSError):
        return b"coverage_audit.daemon.child_process" in Path(f"/proc/{number}/cmdline").read_bytes()
    return False


@dataclass(kw_only=True)
class Killer:
    """Lets nights begin, and kills."""

    station: Station
    clock: MovedClock
    start: Callable[[], DaemonProcess]
    moments: list[float] = field(default_factory=list)
    """When a kill fell (monotonic)."""
    hit: Counter[str] = field(default_factory=Counter)
    daemon: DaemonProcess | None = None

    def one_round(self, turn: int) -> None:
        """Let a night begin, or be tried again, and kill something: soon, in the middle of it, or while it is told."""
        self.change_the_copy()
        again = turn % 5 == 4 and self.daemon is not None
        self.clock.set(self.clock.now() + (timedelta(minutes=6) if again else DAY))
        daemon = self.running()
        ended = len(daemon.events("night ended"))
        when = random.choice(["soon", "within", "within", "told", "told"])
        whom = random.choice(["daemon", "all", *(("night", "worker") if when == "within" else ())])
        if when == "within":
            wait_for(lambda: any(is_a_night(one) for one in descendants(daemon.process.pid)), 10)
        elif when == "told":
            wait_for(lambda: len(daemon.events("night ended")) > ended, 30)
        time.sleep(random.uniform(0, LONGEST_S))
        self.kill(whom, daemon)

    def change_the_copy(self) -> None:
        copy = self.station.root / "heron/recordings/take-1.wav"
        original = self.station.root / "kestrel/recordings/take-1.wav"
        if copy.exists():
            copy.unlink()
        else:
            copy.write_bytes(original.read_bytes())
            os.utime(copy, ns=(original.stat().st_mtime_ns,) * 2)

    def running(self) -> DaemonProcess:
        if self.daemon is None:
            self.daemon = self.start()
        assert self.daemon.process.poll() is None, f"it ended by itself:\n{self.daemon.log.read_text()}"
        return self.daemon

    def kill(self, whom: str, daemon: DaemonProcess) -> None:
        """Kill the daemon alone, its night's process alone, one of that one's workers, or all at once."""
        everything = descendants(daemon.process.pid)
        nights = [one for one in everything if is_a_night(one)]
        workers = [one for night in nights for one in descendants(night)]
        chosen = {"night": nights, "worker": workers[:1] if workers else nights}.get(whom, [])
        self.moments.append(time.monotonic())
        if chosen:
            self.hit[whom if whom == "night" or workers else "night"] += 1
            for one in chosen:
                with contextlib.suppress(ProcessLookupError):
                    os.kill(one, signal.SIGKILL)
            return
        self.hit["all" if whom == "all" else "daemon"] += 1
        daemon.kill()
        for one in everything if whom == "all" else ():
            with contextlib.suppress(ProcessLookupError):
                os.kill(one, signal.SIGKILL)
        self.daemon = None

    def come_to_rest(self) -> None:
        """Let one more night pass, and all that waits be sent."""
        self.clock.set(self.clock.now() + DAY)
        daemon = self.running()
        night = str(self.clock.now().astimezone(self.station.estate.time_zone).date())
        daemon.wait_for("night ended", night=night)
        for _ in range(4):  # no wait is longer than six hours
            if wait_for(self.nothing_waits, 10):
                break
            self.clock.set(self.clock.now() + timedelta(hours=6))
        assert daemon.stop() == 0

    def nothing_waits(self) -> bool:
        with open_ledger(self.station.state) as ledger:
            end = last_end(ledger, self.station)
        return not waiting(self.station) and end == taken_last(self.station)


def waiting(station: Station) -> int:
    with open_ledger(station.state) as ledger:
        return len(ledger.outbox.pending())


def last_end(ledger: Ledger, station: Station) -> str:
    last = ledger.nights.last_ended()
    assert last is not None
    return event_of(ledger, last, station) or "it has not ended"


def event_of(ledger: Ledger, night: NightRecord, station: Station) -> str | None:
    end = night_end(station.estate.name, ledger.seed, night, ledger.nights.conclusion_of(night.night))
    return None if end is None else end.event


def taken_last(station: Station) -> str:
    file = station.state / "alive"
    return file.read_text("ascii").strip() if file.exists() else ""


def no_night_is_counted_twice(ledger: Ledger) -> tuple[NightRecord, ...]:
    """Each night has one row or none, has ended, and stands in one count; no audit is that of two; the nights."""
    nights = ledger.nights.since(BEGINNING)
    assert all(night.finished is not None for night in nights), nights
    dates = [night.night for night in nights]
    assert len(dates) == len(set(dates))
    for night in nights:
        first = night.missed_since or night.night
        assert (night.night - first).days == night.missed, night
        without = {one.night for one in nights if first <= one.night < night.night and one.outcome is AUDITED}
        assert not without, "a night is said to have had no audit, and had one"
    counts = ledger.present.night_counts()
    assert sum(counts.ended.values()) + counts.missed == (max(dates) - min(dates)).days + 1
    with ledger._reading() as connection:
        audits = [number for number in connection.scalars(select(NIGHTS.c.audit)) if number is not None]
    assert len(audits) == len(set(audits)) == sum(night.outcome is AUDITED for night in nights)
    return nights


def every_change_is_told(ledger: Ledger) -> set[str]:
    """Every change that was recorded is marked as told to both addresses, and nothing waits; the events."""
    with ledger._reading() as connection:
        changes = connection.execute(select(func.count()).select_from(TRANSITIONS)).scalar_one()
        told = connection.execute(select(DELIVERIES.c.target, func.count()).group_by(DELIVERIES.c.target)).all()
        assert changes > 0
        assert sorted(tuple(row) for row in told) == [("mail", changes), ("phone", changes)]
        assert connection.execute(select(func.count()).where(OUTBOX.c.accepted.is_(None))).scalar_one() == 0
        return set(connection.scalars(select(OUTBOX.c.event)))


def arrived_again(sent: list[tuple[str, float]], moments: list[float]) -> dict[str, int]:
    """The events that arrived more than once, each with how often; between two arrivals there was a kill."""
    arrived: dict[str, list[float]] = {}
    for event, moment in sent:
        arrived.setdefault(event, []).append(moment)
    for event, own in arrived.items():
        for first, second in itertools.pairwise(sorted(own)):
            assert any(first - ORPHAN_S < kill < second for kill in moments), f"{event} came twice without a kill"
    return {event: len(own) for event, own in arrived.items() if len(own) > 1}


@pytest.mark.slow
@pytest.mark.timeout(7200)
def test_no_event_is_lost_none_comes_twice_but_under_its_name_and_no_night_counts_twice(
    station: Station,
    clock: MovedClock,
    mailbox: Mailbox,
    endpoint: Endpoint,
    start_daemon: StartDaemon,
    record_property: Callable[[str, object], None],
) -> None:
    station.declare(two_places() + UNATTENDED)
    station.write("kestrel/recordings/take-1.wav")
    (station.root / "heron/recordings").mkdir(parents=True)
    environment = {
        **clock.environment,
        "MAIL_URL": mailbox.address(),
        "PHONE_URL": endpoint.address(),
        "ALIVE_URL": f"http://127.0.0.1:{endpoint.port}/alive",
    }
    clock.set(datetime.combine(date(2027, 1, 4), wall_time(2, 31), station.estate.time_zone))
    endpoint.failing = 0.3
    killer = Killer(station=station, clock=clock, start=lambda: start_daemon(environment=environment))
    for turn in range(ROUNDS):
        killer.one_round(turn)
    endpoint.failing = 0
    killer.come_to_rest()

    with exclusive(station.state), open_ledger(station.state) as ledger:
        nights = no_night_is_counted_twice(ledger)
        events = every_change_is_told(ledger)
        calls = {event: night for night in nights if (event := event_of(ledger, night, station)) is not None}
        last = last_end(ledger, station)
    sent = [(name.strip("<>").split("@")[0], moment) for name, moment in [*mailbox.taken, *endpoint.taken]]
    called = {event for event, _ in sent} - events
    assert {event for event, _ in sent} >= events
    assert called <= calls.keys(), "a call tells of no night that is recorded so"
    assert last in called
    again = arrived_again(sent, killer.moments)
    outcomes = Counter(str(night.outcome) for night in nights)
    report = (
        f"{sum(killer.hit.values())} kills {dict(killer.hit)}; {len(events)} notices and {len(called)} calls arrived, "
        f"{len(again)} of them more than once: {sorted(again.values())}; nights: {dict(outcomes)}, "
        f"{sum(night.missed for night in nights)} missed; {len(calls) - len(called)} calls replaced by the next night's"
    )
    record_property("kills", report)
    (station.root / "report").write_text(report, encoding="utf-8")

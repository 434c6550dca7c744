from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import UTC, date, datetime, time, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest

from coverage_audit.daemon.child import Ended
from coverage_audit.daemon.deciding import AGAIN_AFTER, LONGEST_NIGHT
from coverage_audit.daemon.errands import NightErrand, Report
from coverage_audit.daemon.nights import Nights
from coverage_audit.errors import EX_IOERR
from coverage_audit.estate.model import Estate, NoticeKind, NoticeTarget, Schedule
from coverage_audit.ledger.ledger import Ledger
from coverage_audit.ledger.opening import open_ledger
from coverage_audit.ledger.past_record import NightOutcome, NightRecord
from tests.builders.children import BUSY, FINE, KILLED, FakeChildren, KeptLog
from tests.builders.station import an_estate

FIRST = date(2026, 7, 1)
NIGHT = datetime(2026, 7, 1, 2, 30, tzinfo=UTC)
DAY = timedelta(days=1)
MINUTE = timedelta(minutes=1)
MAIL = NoticeTarget(name="mail", url_env="MAIL", send=frozenset({NoticeKind.FAILING}))
ESTATE = an_estate(
    time_zone=ZoneInfo("Etc/UTC"), schedule=Schedule(audit=time(2, 30)), notices=(MAIL,), text="estate: text"
)


@dataclass(kw_only=True)
class Bench:
    """Nights whose processes end as the test says, on a real ledger."""

    ledger: Ledger
    now: datetime = NIGHT
    estate: Estate = ESTATE
    children: FakeChildren = field(default_factory=FakeChildren)
    log: KeptLog = field(default_factory=KeptLog)

    def __post_init__(self) -> None:
        self.nights = Nights(file=Path("/e.yaml"), state=Path("/state"), log=self.log, start=self.children)

    def tick(self, after: timedelta = MINUTE, *, with_ledger: bool = True) -> None:
        self.now += after
        self.nights.look(self.now)
        if with_ledger:
            self.nights.advance(self.estate, self.ledger, self.now)
        else:
            self.nights.without_ledger(self.estate, "its disk is full", self.now)

    def ends(self, ended: Ended, *, after: timedelta = MINUTE) -> None:
        """The process ends; one that audited has ended its night in the ledger before."""
        errand = self.children.last.errand
        assert isinstance(errand, NightErrand)
        if ended is FINE:
            self.ledger.nights.begin(errand.night.of, self.now, missed=errand.night.missed)
            self.ledger.nights.end(errand.night.of, self.now, NightOutcome.AUDITED)
        self.children.last.ended = ended
        self.tick(after)

    @property
    def begun(self) -> list[date]:
        """The nights whose process was started, in order."""
        return [child.errand.night.of for child in self.children.started if isinstance(child.errand, NightErrand)]

    @property
    def noted(self) -> list[tuple[date, NightOutcome | None, str]]:
        """What the ledger says of the nights."""
        return [(one.night, one.outcome, one.detail) for one in self.ledger.nights.since(NIGHT - 100 * DAY)]

    @property
    def told(self) -> list[str]:
        """The subjects that wait in the outbox."""
        return [queued.message.subject for queued in self.ledger.outbox.pending()]


@pytest.fixture
def bench(tmp_path: Path) -> Iterator[Bench]:
    with open_ledger(tmp_path / "state") as ledger:
        ledger.nights.end(FIRST - DAY, NIGHT - DAY, NightOutcome.AUDITED)
        made = Bench(ledger=ledger)
        made.now -= MINUTE
        yield made


def test_a_night_is_begun_once_with_the_estate_in_force_and_ends(bench: Bench) -> None:
    bench.tick()
    bench.tick()
    bench.ends(FINE)
    bench.tick()
    errand = bench.children.last.errand
    assert isinstance(errand, NightErrand)
    assert (bench.begun, errand.text, errand.state) == ([FIRST], "estate: text", Path("/state"))
    assert bench.noted[1:] == [(FIRST, NightOutcome.AUDITED, "")]
    assert [one["event"] for one in bench.log.events()] == ["night begun", "night ended"]
    assert bench.nights.running is None


def test_a_failure_is_noted_and_tried_again_until_the_night_is_given_up_and_told(bench: Bench) -> None:
    full = Ended(status=EX_IOERR, report=Report(failed="the disk is full"))
    bench.tick()
    for wait in AGAIN_AFTER:
        bench.ends(full)
        assert bench.noted[-1] == (FIRST, None, "the disk is full")
        bench.tick(wait - MINUTE)
        count = len(bench.begun)
        bench.tick()
        assert len(bench.begun) == count + 1
    bench.ends(full)
    assert bench.noted[-1] == (FIRST, NightOutcome.FAILED, "the disk is full")
    assert bench.told == ["Saltreach Field Station: no audit in the night of 2026-07-01"]
    bench.tick(10 * timedelta(hours=1))
    assert len(bench.begun) == 4
    bench.tick(14 * timedelta(hours=1))
    assert bench.begun[-1] == FIRST + DAY


def test_a_crash_after_its_night_had_ended_is_no_failure_of_the_next(bench: Bench) -> None:
    bench.tick()
    bench.ledger.nights.begin(FIRST, bench.now)
    bench.ledger.nights.end(FIRST, bench.now, NightOutcome.AUDITED)
    bench.children.last.ended = KILLED
    bench.tick()
    bench.tick(DAY)
    assert bench.begun == [FIRST, FIRST + DAY]
    assert bench.noted[-1] == (FIRST, NightOutcome.AUDITED, "")


def test_another_audit_makes_it_wait_without_counting_and_is_said_once(bench: Bench) -> None:
    bench.tick()
    for _ in range(6):
        bench.ends(BUSY)
    assert bench.begun == [FIRST] * 7
    bench.ends(FINE)
    assert bench.noted[1:] == [(FIRST, NightOutcome.AUDITED, "")]
    assert [one["event"] for one in bench.log.events()] == [
        "night begun",
        "night waits: another audit is running",
        "night ended",
    ]


def test_a_night_that_passed_while_another_audit_ran_is_noted_told_and_not_counted_as_missed(bench: Bench) -> None:
    bench.tick()
    bench.ends(BUSY)
    bench.tick(DAY)
    bench.ends(BUSY)
    assert bench.noted[1][:2] == (FIRST, NightOutcome.BUSY)
    assert bench.told == ["Saltreach Field Station: no audit of its own in the night of 2026-07-01"]
    assert bench.begun[-1] == FIRST + DAY
    errand = bench.children.last.errand
    assert isinstance(errand, NightErrand)
    assert errand.night.missed == 0


def test_an_audit_of_more_than_a_day_delays_the_next_night_and_loses_none(bench: Bench) -> None:
    bench.tick()
    bench.tick(DAY)
    assert bench.begun == [FIRST]
    assert len(bench.log.events("night waits: another audit is running")) == 1
    bench.ends(FINE)
    assert bench.begun == [FIRST, FIRST + DAY]
    bench.ends(FINE)
    assert [outcome for _, outcome, _ in bench.noted] == [NightOutcome.AUDITED] * 3


def test_one_that_hangs_is_ended_and_has_failed(bench: Bench) -> None:
    bench.tick()
    bench.children.last.runs_for = LONGEST_NIGHT.total_seconds() + 1
    bench.tick(LONGEST_NIGHT)
    assert bench.children.started[0].was_ended
    assert bench.log.events("night failed")[0]["why"] == "it ran for more than 48 hours"
    assert bench.begun[-1] == FIRST + 2 * DAY


def test_a_process_that_cannot_be_started_is_a_failure(bench: Bench) -> None:
    bench.children.refusing = True
    bench.tick()
    bench.children.refusing = False
    bench.tick(AGAIN_AFTER[0])
    assert bench.begun == [FIRST]
    assert bench.log.events("night failed")[0]["why"] == "its process could not be started: Cannot allocate memory"


def test_without_a_ledger_the_night_is_given_up_in_the_same_time_and_noted_when_it_can_be(bench: Bench) -> None:
    bench.tick(timedelta(0))  # the ledger was read once
    for wait in (MINUTE, *AGAIN_AFTER, MINUTE):
        bench.tick(wait, with_ledger=False)
    unwritten = bench.nights.unwritten
    assert unwritten is not None
    assert (unwritten.night, unwritten.outcome, unwritten.detail) == (FIRST, NightOutcome.FAILED, "its disk is full")
    assert bench.begun == []
    bench.tick()
    assert bench.noted[-1] == (FIRST, NightOutcome.FAILED, "its disk is full")
    assert len(bench.told) == 1
    assert bench.nights.unwritten is None
    bench.tick(DAY)
    assert bench.begun == [FIRST + DAY]


def test_a_night_that_ended_as_the_ledger_was_lost_is_neither_tried_again_nor_told_as_lost(bench: Bench) -> None:
    bench.tick()
    bench.ledger.nights.begin(FIRST, bench.now)
    bench.ledger.nights.end(FIRST, bench.now, NightOutcome.AUDITED)
    bench.children.last.ended = FINE
    for wait in (MINUTE, *AGAIN_AFTER, MINUTE):
        bench.tick(wait, with_ledger=False)
    bench.tick()
    assert bench.log.events("night failed") == []
    assert bench.told == []
    assert bench.begun == [FIRST]


def test_while_the_ledger_was_never_read_no_night_is_counted(bench: Bench) -> None:
    for wait in (MINUTE, *AGAIN_AFTER, MINUTE):
        bench.tick(wait, with_ledger=False)
    assert bench.log.events() == []
    assert bench.nights.unwritten is None


def test_missed_nights_are_said_when_the_night_that_catches_up_begins(bench: Bench) -> None:
    bench.tick(4 * DAY)
    errand = bench.children.last.errand
    assert isinstance(errand, NightErrand)
    assert (errand.night.of, errand.night.missed, errand.night.missed_since) == (FIRST + 3 * DAY, 3, FIRST)
    (missed,) = bench.log.events("nights missed")
    assert (missed["count"], missed["since"]) == (3, "2026-07-01")


def test_at_its_end_the_process_is_ended_and_the_night_left_as_it_is(bench: Bench) -> None:
    bench.tick()
    bench.nights.end()
    assert bench.children.last.was_ended
    assert bench.log.events("night cut off")[0]["night"] == "2026-07-01"
    assert bench.noted[1:] == []


def test_the_record_of_a_night_that_could_not_be_told_is_whole(bench: Bench) -> None:
    bench.tick(timedelta(0))
    for wait in (MINUTE, *AGAIN_AFTER, MINUTE):
        bench.tick(wait, with_ledger=False)
    assert bench.nights.unwritten == NightRecord(
        night=FIRST, started=bench.now, finished=bench.now, outcome=NightOutcome.FAILED, detail="its disk is full"
    )

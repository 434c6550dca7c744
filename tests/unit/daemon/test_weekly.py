from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import UTC, date, datetime, time, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest

from coverage_audit.daemon.child import Ended
from coverage_audit.daemon.deciding import AGAIN_AFTER
from coverage_audit.daemon.errands import PageErrand, Report
from coverage_audit.daemon.weekly import FOR_THE_NIGHT, Weekly
from coverage_audit.errors import EX_CANTCREAT
from coverage_audit.estate.model import NoticeKind, NoticeTarget, Schedule
from coverage_audit.ledger.ledger import Ledger
from coverage_audit.ledger.opening import open_ledger
from coverage_audit.ledger.past_record import NightOutcome, SummaryRecord
from tests.builders.children import BUSY, FINE, FakeChildren, KeptLog
from tests.builders.station import an_estate

MONDAY = date(2026, 7, 6)
DUE = datetime(2026, 7, 6, 7, 0, tzinfo=UTC)
DAY = timedelta(days=1)
MINUTE = timedelta(minutes=1)
MAIL = NoticeTarget(name="mail", url_env="MAIL", send=frozenset({NoticeKind.SUMMARY}))
ESTATE = an_estate(
    time_zone=ZoneInfo("Etc/UTC"),
    schedule=Schedule(audit=time(2, 30), summary=("Mon", time(7, 0))),
    notices=(MAIL,),
)


@dataclass(kw_only=True)
class Bench:
    """Weekly pages whose processes end as the test says, on a real ledger, by a daemon of `started`."""

    ledger: Ledger
    started: datetime
    now: datetime = DUE - MINUTE
    children: FakeChildren = field(default_factory=FakeChildren)
    log: KeptLog = field(default_factory=KeptLog)

    def __post_init__(self) -> None:
        self.weekly = Weekly(
            file=Path("/e.yaml"), state=Path("/state"), log=self.log, started=self.started, start=self.children
        )

    def tick(self, after: timedelta = MINUTE, *, night_runs: bool = False) -> None:
        self.now += after
        self.weekly.look(self.now)
        self.weekly.advance(ESTATE, self.ledger, self.now, night_runs=night_runs)

    def ends(self, ended: Ended, *, after: timedelta = MINUTE) -> None:
        """The process ends; one that made the page has recorded it before."""
        errand = self.children.last.errand
        assert isinstance(errand, PageErrand)
        if ended is FINE:
            self.ledger.summaries.record(SummaryRecord(page_of=errand.page_of, made=self.now, file="page.html"), {})
        self.children.last.ended = ended
        self.tick(after)

    @property
    def begun(self) -> list[date]:
        """The dates whose page was begun, in order."""
        return [child.errand.page_of for child in self.children.started if isinstance(child.errand, PageErrand)]


@pytest.fixture
def bench(tmp_path: Path) -> Iterator[Bench]:
    with open_ledger(tmp_path / "state") as ledger:
        yield Bench(ledger=ledger, started=DUE - 3 * DAY)


def test_each_weeks_page_is_made_once(bench: Bench) -> None:
    bench.tick(timedelta(0))
    assert bench.begun == []
    bench.tick()
    bench.ends(FINE)
    bench.tick(6 * DAY)
    assert bench.begun == [MONDAY]
    bench.tick(DAY)
    bench.ends(FINE)
    assert bench.begun == [MONDAY, MONDAY + 7 * DAY]
    assert len(bench.log.events("weekly page made")) == 2


def test_pages_from_before_the_first_daemon_are_not_made(tmp_path: Path) -> None:
    with open_ledger(tmp_path / "state") as ledger:
        bench = Bench(ledger=ledger, started=DUE + MINUTE)
        bench.tick(DAY)
        assert bench.begun == []
        bench.tick(6 * DAY + MINUTE)
        assert bench.begun == [MONDAY + 7 * DAY]


def test_a_later_daemon_makes_up_for_the_page_that_was_due_while_none_ran(tmp_path: Path) -> None:
    with open_ledger(tmp_path / "state") as ledger:
        ledger.nights.end(MONDAY - 2 * DAY, DUE - 2 * DAY, NightOutcome.AUDITED)
        bench = Bench(ledger=ledger, started=DUE + DAY)
        bench.tick(DAY + 2 * MINUTE)
        assert bench.begun == [MONDAY]


def test_a_daemon_that_started_by_a_clock_ahead_makes_pages_when_it_was_set_back(tmp_path: Path) -> None:
    with open_ledger(tmp_path / "state") as ledger:
        bench = Bench(ledger=ledger, started=DUE + 300 * DAY)
        bench.tick(timedelta(0))
        bench.tick()
        assert bench.begun == [MONDAY]


def test_a_page_waits_for_the_night_that_runs_but_not_for_ever(bench: Bench) -> None:
    bench.tick(MINUTE, night_runs=True)
    bench.tick(FOR_THE_NIGHT - MINUTE, night_runs=True)
    assert bench.begun == []
    bench.tick(MINUTE, night_runs=True)
    assert bench.begun == [MONDAY]


def test_when_the_night_has_ended_it_is_made_at_once(bench: Bench) -> None:
    bench.tick(MINUTE, night_runs=True)
    bench.tick(MINUTE)
    assert bench.begun == [MONDAY]


def test_a_failure_is_tried_again_and_told_after_the_fourth(bench: Bench) -> None:
    full = Ended(status=EX_CANTCREAT, report=Report(failed="the disk is full"))
    bench.tick()
    for wait in AGAIN_AFTER:
        bench.ends(full)
        bench.tick(wait - MINUTE)
        count = len(bench.begun)
        bench.tick()
        assert len(bench.begun) == count + 1
    bench.ends(full)
    assert bench.ledger.outbox.pending() == ()
    bench.tick(AGAIN_AFTER[-1])
    (told,) = bench.ledger.outbox.pending()
    assert told.message.subject == "Saltreach Field Station: the weekly page of 2026-07-06 cannot be made"
    bench.ends(full)
    bench.tick(AGAIN_AFTER[-1])
    assert len(bench.ledger.outbox.pending()) == 1
    bench.ends(FINE)
    assert bench.begun == [MONDAY] * 6


def test_while_another_process_makes_one_it_is_tried_at_each_tick(bench: Bench) -> None:
    bench.tick()
    for _ in range(6):
        bench.ends(BUSY)
    assert bench.begun == [MONDAY] * 7
    assert bench.log.events("weekly page failed") == []


def test_one_that_hangs_is_ended(bench: Bench) -> None:
    bench.tick()
    bench.children.last.runs_for = 3601
    bench.tick()
    assert bench.children.last.was_ended
    assert bench.log.events("weekly page failed")[0]["why"] == "it ran for more than an hour"


def test_at_the_daemons_end_its_process_is_ended(bench: Bench) -> None:
    bench.tick()
    bench.weekly.end()
    assert bench.children.last.was_ended

"""What one tick does, on a real ledger and a real state folder that fails as the test says."""

from __future__ import annotations

import shutil
from collections.abc import Callable, Iterator
from contextlib import ExitStack
from dataclasses import dataclass, field
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import pytest

from coverage_audit.daemon.ending import Ending
from coverage_audit.daemon.manager import ServiceManager
from coverage_audit.daemon.nights import Nights
from coverage_audit.daemon.reloading import first
from coverage_audit.daemon.running import _Hold
from coverage_audit.daemon.sending import Sender
from coverage_audit.daemon.serving import PATIENCE, Means, Serving
from coverage_audit.daemon.ticking import CALLING, SENDING
from coverage_audit.daemon.weekly import Weekly
from coverage_audit.errors import LedgerBusyError
from coverage_audit.ledger.lock import Lock
from coverage_audit.ledger.opening import exclusive, open_ledger
from coverage_audit.ledger.past_record import NightOutcome
from tests.builders.children import KILLED, FakeChildren, KeptLog
from tests.builders.two_places import two_places
from tests.parts.mailbox import Endpoint, Mailbox
from tests.parts.station import HEAD

MINUTE = timedelta(minutes=1)
START = datetime(2026, 7, 1, 9, 0, tzinfo=UTC)
MORE = """\
schedule: {audit: "02:30"}
notices:
  mail: {url_env: MAIL_URL, send: [failing]}
"""


@dataclass(kw_only=True)
class Bench:
    """A daemon without its scheduler: what it submits runs at once."""

    root: Path
    now: datetime = START
    children: FakeChildren = field(default_factory=FakeChildren)
    log: KeptLog = field(default_factory=KeptLog)
    held: ExitStack = field(default_factory=ExitStack)
    submitted: list[str] = field(default_factory=list)

    def __post_init__(self) -> None:
        self.file, self.state = self.root / "estate.yaml", self.root / "state"
        self.file.write_text(HEAD + MORE + two_places().replace("{root}", str(self.root)))
        self.ending = Ending()

    def begin(self) -> Serving:
        """Start."""

        def clock() -> datetime:
            return self.now

        nights = Nights(file=self.file, state=self.state, log=self.log, start=self.children)
        weekly = Weekly(file=self.file, state=self.state, log=self.log, started=self.now, start=self.children)
        hold = _Hold(self.state, self.held)
        sender = Sender(state=self.state, hold=hold, environment={}, clock=clock, log=self.log, stopping=lambda: False)
        self.serving = Serving(
            Means(
                file=self.file,
                state=self.state,
                clock=clock,
                log=self.log,
                manager=ServiceManager(),
                nights=nights,
                weekly=weekly,
                sender=sender,
                hold=hold,
            ),
            first(self.file, None),
        )
        return self.serving

    def submit(self, executor: str, work: Callable[[], None]) -> bool:
        """Do it now."""
        if executor in self.submitted:
            return False
        self.submitted.append(executor)
        work()
        return True

    def tick(self, after: timedelta = MINUTE) -> None:
        self.now += after
        self.submitted.clear()
        self.serving.tick(self.submit)


@pytest.fixture
def bench(tmp_path: Path, mailbox: Mailbox, monkeypatch: pytest.MonkeyPatch) -> Iterator[Bench]:
    monkeypatch.setenv("MAIL_URL", mailbox.address())
    made = Bench(root=tmp_path)
    with made.held:
        yield made


def test_the_first_tick_begins_the_night_and_sends(bench: Bench) -> None:
    bench.begin()
    bench.tick()
    assert len(bench.children.started) == 1
    assert bench.submitted == [SENDING]


def test_another_daemon_on_the_state_folder_is_an_end(bench: Bench) -> None:
    bench.begin()
    with exclusive(bench.state, Lock.DAEMON), pytest.raises(LedgerBusyError, match="another daemon"):
        bench.tick()


def break_ledger(state: Path) -> None:
    (state / "ledger.db").write_bytes(b"this is no database " * 1000)
    for name in ("ledger.db-wal", "ledger.db-shm"):
        (state / name).unlink(missing_ok=True)


def test_a_ledger_that_cannot_be_used_is_told_past_it_once_a_day_until_it_is_mended(
    bench: Bench, mailbox: Mailbox
) -> None:
    bench.begin()
    bench.tick()
    shutil.copytree(bench.state, bench.root / "kept")
    break_ledger(bench.state)
    bench.tick()
    assert "is damaged" in bench.log.events("ledger cannot be used")[0]["why"]
    assert mailbox.letters == []
    bench.tick(PATIENCE)
    for _ in range(3):
        bench.tick(5 * MINUTE)
    (letter,) = mailbox.letters
    assert str(letter["Subject"]) == "Saltreach Field Station: the auditor cannot use its ledger: no audits"
    bench.tick(timedelta(days=1))
    assert len(mailbox.letters) == 2
    assert len({str(letter["Message-ID"]) for letter in mailbox.letters}) == 2

    shutil.copyfile(bench.root / "kept/ledger.db", bench.state / "ledger.db")
    bench.tick()
    assert len(bench.log.events("ledger in use again")) == 1
    bench.tick(timedelta(hours=2))
    assert len(mailbox.letters) == 2


def test_a_restart_on_the_same_day_does_not_tell_it_again(bench: Bench, mailbox: Mailbox) -> None:
    bench.begin()
    bench.tick()
    break_ledger(bench.state)
    bench.tick()
    bench.tick(PATIENCE)
    bench.held.close()
    bench.begin()
    bench.tick()
    bench.tick(PATIENCE)
    assert len(mailbox.letters) == 1


def test_what_reached_nobody_is_tried_again(bench: Bench, endpoint: Endpoint, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("MAIL_URL", endpoint.address())
    endpoint.status = 503
    bench.begin()
    bench.tick()
    break_ledger(bench.state)
    bench.tick()
    bench.tick(PATIENCE)
    assert endpoint.taken == []
    endpoint.status = 200
    bench.tick()
    assert endpoint.taken == []  # not at each tick
    bench.tick(PATIENCE)
    assert len(endpoint.taken) == 1
    bench.tick(PATIENCE)
    assert len(endpoint.taken) == 1


def test_a_state_folder_that_was_unmounted_is_no_reason_to_begin_anew(bench: Bench) -> None:
    bench.begin()
    bench.tick()
    bench.state.rename(bench.root / "elsewhere")
    bench.state.mkdir()
    bench.tick()
    assert "was its disk unmounted?" in bench.log.events("ledger cannot be used")[0]["why"]
    assert list(bench.state.iterdir()) == []


def test_a_clock_that_was_not_set_begins_no_night(bench: Bench) -> None:
    bench.now = datetime(1970, 1, 1, 9, tzinfo=UTC)
    bench.begin()
    bench.tick()
    bench.tick()
    assert len(bench.log.events("the clock is not set: no night begins")) == 1
    assert bench.children.started == []
    bench.tick(START - bench.now)
    assert len(bench.children.started) == 1
    with open_ledger(bench.state) as ledger:
        assert ledger.nights.last() is None


def test_steps_of_the_clock_are_said(bench: Bench) -> None:
    bench.begin()
    bench.tick()
    bench.tick(timedelta(hours=-2))
    bench.tick(timedelta(hours=9))
    assert bench.log.events("clock set back")[0]["seconds"] == pytest.approx(-7200, abs=20)
    assert bench.log.events("clock set forward, or the machine slept")[-1]["seconds"] == pytest.approx(32_400, abs=20)


def test_a_broken_estate_is_told_once_of_each_content(bench: Bench) -> None:
    good = bench.file.read_text()
    bench.begin()
    bench.tick()
    for content in (good + "nonsense: 1\n", good, good + "nonsense: 1\n", good + "nonsense: 2\n"):
        bench.file.write_text(content)
        bench.tick()
        bench.tick()
    with open_ledger(bench.state) as ledger:
        put = {queued.message.event for queued in ledger.outbox.pending()}
    assert len(bench.log.events("estate refused")) == 3
    assert len(bench.log.events("notice delivered")) + len(put) == 2


def test_a_broken_estate_is_told_again_when_it_lasts_and_when_the_same_comes_back_later(
    bench: Bench, mailbox: Mailbox
) -> None:
    good = bench.file.read_text()

    def told(content: str, after: timedelta) -> int:
        before = len(mailbox.letters)
        bench.file.write_text(content)
        bench.tick(after)
        for _ in range(3):
            bench.tick()
        return sum("is refused" in str(letter["Subject"]) for letter in mailbox.letters[before:])

    bench.begin()
    bench.tick()
    broken = good + "nonsense: 1\n"
    assert [told(broken, MINUTE), told(broken, timedelta(hours=3))] == [1, 0]
    assert [told(broken, timedelta(days=days)) for days in (1, 1, 1, 1, 4)] == [1, 0, 1, 0, 1]
    assert [told(good, MINUTE), told(good, timedelta(days=30)), told(broken, MINUTE)] == [0, 0, 1]


def test_what_was_refused_before_the_ledger_could_be_used_is_told_when_it_can(bench: Bench) -> None:
    good = bench.file.read_text()
    bench.begin()
    bench.tick()
    with open_ledger(bench.state):
        pass
    kept = (bench.state / "ledger.db").read_bytes()
    break_ledger(bench.state)
    bench.file.write_text(good + "nonsense: 1\n")
    bench.tick()
    bench.tick()
    (bench.state / "ledger.db").write_bytes(kept)
    bench.tick()
    assert len(bench.log.events("notice delivered")) == 1


def test_each_ended_night_is_called_out_once_also_one_that_was_given_up(
    bench: Bench, endpoint: Endpoint, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("ALIVE_URL", f"http://127.0.0.1:{endpoint.port}/alive")
    bench.file.write_text(bench.file.read_text() + "alive: {url_env: ALIVE_URL}\n")
    bench.begin()
    monkeypatch.setattr(
        bench.serving._means.sender, "_environment", {"ALIVE_URL": f"http://127.0.0.1:{endpoint.port}/"}
    )
    bench.tick()
    with open_ledger(bench.state) as ledger:
        ledger.nights.begin(date(2026, 7, 1), bench.now)
        ledger.nights.end(date(2026, 7, 1), bench.now, NightOutcome.AUDITED)
    for _ in range(3):
        bench.tick()
    assert bench.submitted == [SENDING, CALLING]
    assert len(endpoint.taken) == 1
    bench.tick(timedelta(days=1))
    for _ in range(6):
        bench.children.last.ended = KILLED
        bench.tick()
        bench.tick(timedelta(hours=2, minutes=1))
    assert len(bench.log.events("night given up")) == 1
    assert len(endpoint.taken) == 2
    assert b'"failed"' in endpoint.bodies[-1]


def test_a_call_that_was_not_taken_is_made_again_while_the_next_night_runs(
    bench: Bench, endpoint: Endpoint, monkeypatch: pytest.MonkeyPatch
) -> None:
    bench.file.write_text(bench.file.read_text() + "alive: {url_env: ALIVE_URL}\n")
    bench.begin()
    environment = {"ALIVE_URL": f"http://127.0.0.1:{endpoint.port}/"}
    monkeypatch.setattr(bench.serving._means.sender, "_environment", environment)
    endpoint.status = 503
    with open_ledger(bench.state) as ledger:
        ledger.nights.end(date(2026, 7, 1), bench.now, NightOutcome.AUDITED)
        bench.tick()
        ledger.nights.begin(date(2026, 7, 2), bench.now)
    endpoint.status = 200
    bench.tick(2 * MINUTE)
    (taken,) = endpoint.taken
    assert taken[0] == (bench.state / "alive").read_text("ascii").strip()
    assert b'"2026-07-01"' in endpoint.bodies[-1]

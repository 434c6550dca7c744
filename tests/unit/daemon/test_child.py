"""Real processes of the daemon's, on errands that end well, fail, crash, or never end."""

from __future__ import annotations

import os
import signal
import time
from datetime import date
from pathlib import Path

import pytest

from coverage_audit.daemon.child import Child, Ended
from coverage_audit.daemon.due import Night
from coverage_audit.daemon.errands import NightErrand, PageErrand, Report, packed, unpacked
from coverage_audit.errors import EX_ANOTHER_AUDIT, EX_ESTATE_WRONG
from coverage_audit.ledger.opening import exclusive, open_ledger
from coverage_audit.ledger.past_record import NightOutcome
from tests.builders.two_places import two_places
from tests.parts.station import Station
from tests.parts.waiting import wait_for

NIGHT = Night(of=date(2026, 7, 1))


def errand(station: Station, text: str | None = None) -> NightErrand:
    file = station.estate_file
    return NightErrand(state=station.state, file=file, text=file.read_text() if text is None else text, night=NIGHT)


def ended(child: Child) -> Ended:
    found: list[Ended] = []

    def look() -> bool:
        how = child.look()
        found.extend([] if how is None else [how])
        return how is not None

    assert wait_for(look, 60)
    return found[0]


@pytest.fixture
def quiet(station: Station) -> Station:
    station.declare(two_places())
    station.write("kestrel/recordings/take-1.wav")
    station.mirror("kestrel/recordings", "heron/recordings")
    return station


def test_a_night_is_audited_and_ended_and_its_row_names_the_audit(quiet: Station) -> None:
    how = ended(Child(errand(quiet)))
    assert (how.status, how.failure) == (0, "")
    assert how.report is not None
    assert how.report.said == "conforming, 1 of 1 datasets conforming"
    with open_ledger(quiet.state) as ledger:
        assert ledger.nights.done() == {NIGHT.of}
        conclusion = ledger.nights.conclusion_of(NIGHT.of)
        assert conclusion is not None
        assert conclusion.value == "conforming"


def test_a_night_that_has_ended_is_not_audited_again(quiet: Station) -> None:
    with open_ledger(quiet.state) as ledger:
        ledger.nights.end(NIGHT.of, quiet.now(), NightOutcome.BUSY)
        how = ended(Child(errand(quiet)))
        assert how.failure == ""
        assert how.report == Report(said="it had ended before")
        last = ledger.nights.last()
        assert last is not None
        assert last.outcome is NightOutcome.BUSY


def test_another_audit_is_found_before_anything_is_done(quiet: Station) -> None:
    with exclusive(quiet.state):
        how = ended(Child(errand(quiet)))
    assert (how.status, how.found_busy) == (EX_ANOTHER_AUDIT, True)
    with open_ledger(quiet.state) as ledger:
        assert ledger.nights.last() is None


def test_what_the_program_refuses_is_told_as_it_is_said(quiet: Station) -> None:
    how = ended(Child(errand(quiet, "nonsense")))
    assert how.status == EX_ESTATE_WRONG
    assert str(quiet.estate_file) in how.failure


def test_a_defect_is_told_with_its_place(quiet: Station) -> None:
    how = ended(Child(PageErrand(state=quiet.state, file=quiet.estate_file, text=3, page_of=NIGHT.of)))  # type: ignore[arg-type]  # the defect
    assert "a defect of the program, " in how.failure
    assert " (at " in how.failure


def test_one_that_is_killed_said_nothing(quiet: Station) -> None:
    child = Child(errand(quiet))
    os.kill(child.pid, signal.SIGKILL)
    how = ended(child)
    assert (how.status, how.report) == (-signal.SIGKILL, None)
    assert how.failure == "its process was ended by signal 9"


def test_one_that_is_ended_is_gone_at_once_with_what_it_started(quiet: Station) -> None:
    with exclusive(quiet.state):  # so that it can be seen whether it lets go
        pass
    child = Child(errand(quiet))
    before = time.monotonic()
    child.end()
    assert time.monotonic() - before < 2.5
    assert not Path(f"/proc/{child.pid}").exists()
    with exclusive(quiet.state):
        pass


def test_looking_never_waits(quiet: Station) -> None:
    child = Child(errand(quiet))
    before = time.monotonic()
    assert child.look() is None
    assert time.monotonic() - before < 0.5
    assert child.runs_for < 10
    ended(child)


@pytest.mark.parametrize("cut", [0, 7, 8, 20, -1])
def test_a_report_that_was_cut_is_none(cut: int) -> None:
    whole = packed(Report(said="conforming"))
    assert unpacked(whole) == Report(said="conforming")
    assert unpacked(whole[:cut]) is None

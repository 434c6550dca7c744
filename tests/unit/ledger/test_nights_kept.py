"""The nights of a ledger, on either database: one row a local date, ended once, with what is told of it."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from datetime import date, timedelta

import pytest

from coverage_audit.judgement.verdict import Conclusion
from coverage_audit.ledger.ledger import Ledger
from coverage_audit.ledger.past_record import NightOutcome, NightRecord
from tests.builders.nights import recorded
from tests.builders.recorded import night

FIRST = date(2026, 10, 25)
SECOND = FIRST + timedelta(days=1)
HOUR = timedelta(hours=1)


def test_a_ledger_without_nights_has_none(ledger: Ledger) -> None:
    nights = ledger.nights
    assert (nights.done(), nights.last(), nights.since(night(-10_000)), nights.first_begun()) == (
        frozenset(),
        None,
        (),
        None,
    )
    assert nights.conclusion_of(FIRST) is None


def test_a_night_that_was_begun_is_not_done_until_it_ended(ledger: Ledger, reopen: Callable[[], Ledger]) -> None:
    ledger.nights.begin(FIRST, night(0), missed=2, missed_since=FIRST - timedelta(days=2))
    assert ledger.nights.done() == frozenset()
    begun = NightRecord(night=FIRST, started=night(0), missed=2, missed_since=FIRST - timedelta(days=2))
    assert ledger.nights.last() == begun

    assert ledger.nights.end(FIRST, night(0) + HOUR, NightOutcome.AUDITED)

    with reopen() as again:
        assert again.nights.done() == {FIRST}
        last = again.nights.last()
    assert last is not None
    assert (last.finished, last.outcome, last.missed) == (night(0) + HOUR, NightOutcome.AUDITED, 2)


def test_begun_again_it_is_the_same_row_with_the_later_start(ledger: Ledger) -> None:
    ledger.nights.begin(FIRST, night(0))
    ledger.nights.note(FIRST, night(0) + HOUR, "its process was ended by signal 9")
    (noted,) = ledger.nights.since(night(-1))
    ledger.nights.begin(FIRST, night(0) + 2 * HOUR)
    (again,) = ledger.nights.since(night(-1))

    assert (noted.detail, noted.finished, noted.started) == ("its process was ended by signal 9", None, night(0))
    assert (again.detail, again.finished, again.started) == ("", None, night(0) + 2 * HOUR)
    assert ledger.nights.first_begun() == night(0) + 2 * HOUR


def test_a_night_ends_once_and_nothing_changes_it_afterwards(ledger: Ledger) -> None:
    ledger.nights.begin(FIRST, night(0))
    assert ledger.nights.end(FIRST, night(0) + HOUR, NightOutcome.AUDITED)
    ended = ledger.nights.last()

    assert not ledger.nights.end(FIRST, night(1), NightOutcome.FAILED, "late")
    ledger.nights.begin(FIRST, night(1))
    ledger.nights.note(FIRST, night(1), "late")

    assert ledger.nights.last() == ended


@pytest.mark.parametrize("outcome", [NightOutcome.FAILED, NightOutcome.BUSY])
def test_one_that_never_began_is_done_all_the_same_when_it_is_given_up(ledger: Ledger, outcome: NightOutcome) -> None:
    assert ledger.nights.end(FIRST, night(0), outcome, "why \udcff")
    assert ledger.nights.done() == {FIRST}
    assert ledger.nights.last() == NightRecord(
        night=FIRST, started=night(0), finished=night(0), outcome=outcome, detail="why \\udcff"
    )


def test_a_night_that_was_cut_off_is_given_up_when_a_later_one_begins(ledger: Ledger) -> None:
    ledger.nights.begin(FIRST, night(0))
    ledger.nights.begin(SECOND, night(1))
    ledger.nights.note(SECOND, night(1) + HOUR, "its disk was full")
    ledger.nights.begin(SECOND + timedelta(days=1), night(2))

    cut, noted, begun = ledger.nights.since(night(-1))
    assert (cut.outcome, cut.finished) == (NightOutcome.FAILED, night(1))
    assert "cut off" in cut.detail
    assert (noted.outcome, noted.finished, noted.detail) == (NightOutcome.FAILED, night(2), "its disk was full")
    assert begun.outcome is None


def test_the_night_that_ended_last_is_known_while_the_next_one_runs(ledger: Ledger) -> None:
    assert ledger.nights.last_ended() is None
    ledger.nights.begin(FIRST, night(0))
    assert ledger.nights.last_ended() is None
    ledger.nights.end(FIRST, night(0) + HOUR, NightOutcome.AUDITED)
    ended = ledger.nights.last()
    ledger.nights.begin(SECOND, night(1))
    assert ledger.nights.last_ended() == ended


def test_a_night_without_an_audit_is_noted_once_with_those_that_were_missed_before_it(ledger: Ledger) -> None:
    record = NightRecord(
        night=FIRST,
        started=night(0),
        finished=night(0) + HOUR,
        outcome=NightOutcome.BUSY,
        detail="why",
        missed=2,
        missed_since=FIRST - timedelta(days=2),
    )
    assert ledger.nights.give_up(record)
    assert not ledger.nights.give_up(replace(record, detail="again"))
    assert ledger.nights.last() == record

    ledger.nights.begin(SECOND, night(1))
    ledger.nights.note(SECOND, night(1), "a first reason")
    assert ledger.nights.give_up(replace(record, night=SECOND, started=night(1) + HOUR, missed=0, missed_since=None))
    last = ledger.nights.last()
    assert last is not None
    assert (last.night, last.started, last.detail, last.missed) == (SECOND, night(1), "why", 0)


def test_nights_after_an_instant_come_in_the_order_in_which_they_began(ledger: Ledger) -> None:
    ledger.nights.begin(SECOND, night(1))  # noted first: a clock that was ahead
    ledger.nights.begin(FIRST, night(0))

    assert [one.night for one in ledger.nights.since(night(-1))] == [FIRST, SECOND]
    assert [one.night for one in ledger.nights.since(night(0))] == [SECOND]
    last = ledger.nights.last()
    assert last is not None
    assert last.night == FIRST
    assert ledger.nights.first_begun() == night(0)


def test_a_night_knows_what_its_audit_concluded(ledger: Ledger) -> None:
    number = recorded(ledger).audit
    assert number is not None
    ledger.nights.end(FIRST, night(0), NightOutcome.AUDITED, audit=number)

    assert isinstance(ledger.nights.conclusion_of(FIRST), Conclusion)
    assert ledger.nights.conclusion_of(SECOND) is None

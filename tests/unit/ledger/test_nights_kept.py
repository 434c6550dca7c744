"""The nights of a ledger, on either database: one row a local date, ended once, with what is told of it."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date, timedelta

import pytest

from coverage_audit.errors import LedgerError
from coverage_audit.judgement.verdict import Conclusion
from coverage_audit.ledger.ledger import Ledger
from coverage_audit.ledger.outgoing import Outgoing, OutgoingKind
from coverage_audit.ledger.past_record import NightOutcome, NightRecord
from tests.builders.nights import recorded
from tests.builders.recorded import night

FIRST = date(2026, 10, 25)
SECOND = FIRST + timedelta(days=1)
HOUR = timedelta(hours=1)


def a_message(event: str = "e1") -> Outgoing:
    return Outgoing(event=event, kind=OutgoingKind.DAEMON, subject="s", text="t", html="<p>t", short="t")


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
    assert ledger.nights.end(FIRST, night(0) + HOUR, NightOutcome.AUDITED, letters=[("mail", a_message())])
    ended = ledger.nights.last()

    assert not ledger.nights.end(FIRST, night(1), NightOutcome.FAILED, "late", letters=[("mail", a_message("e2"))])
    ledger.nights.begin(FIRST, night(1))
    ledger.nights.note(FIRST, night(1), "late")

    assert ledger.nights.last() == ended
    assert [queued.message.event for queued in ledger.outbox.pending()] == ["e1"]


@pytest.mark.parametrize("outcome", [NightOutcome.FAILED, NightOutcome.BUSY])
def test_one_that_never_began_is_done_all_the_same_when_it_is_given_up(ledger: Ledger, outcome: NightOutcome) -> None:
    assert ledger.nights.end(FIRST, night(0), outcome, "why \udcff")
    assert ledger.nights.done() == {FIRST}
    assert ledger.nights.last() == NightRecord(
        night=FIRST, started=night(0), finished=night(0), outcome=outcome, detail="why \\udcff"
    )


def test_the_end_and_what_is_told_of_it_are_written_together_or_not_at_all(ledger: Ledger) -> None:
    ledger.nights.begin(FIRST, night(0))
    twice = [("mail", a_message()), ("push", a_message())]  # one name for two messages: the second is refused

    with pytest.raises(LedgerError):
        ledger.nights.end(FIRST, night(0) + HOUR, NightOutcome.AUDITED, letters=twice)

    assert ledger.nights.done() == frozenset()
    assert ledger.outbox.pending() == ()


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

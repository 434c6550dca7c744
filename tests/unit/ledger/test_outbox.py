from __future__ import annotations

import os
from collections.abc import Callable
from dataclasses import replace
from datetime import timedelta
from pathlib import Path

import pytest
from sqlalchemy import select, update

from coverage_audit.errors import LedgerError
from coverage_audit.judgement.verdict import Answer
from coverage_audit.ledger.ledger import Ledger
from coverage_audit.ledger.outbox import Outbox
from coverage_audit.ledger.outgoing import Picture
from coverage_audit.ledger.record import AuditRecord
from coverage_audit.ledger.tables_of_nights import OUTBOX
from tests.builders.outbox import a_message
from tests.builders.recorded import ESTATE_TEXT, a_finding, a_judged, night

HOUR = timedelta(hours=1)


def a_night(ledger: Ledger, number: int, answer: Answer) -> None:
    judged = a_judged(night(number), {"field-recordings": [a_finding(answer=answer)]})
    ledger.record(AuditRecord(judged=judged, estate_text=ESTATE_TEXT))


def test_what_is_put_in_waits_over_a_restart_word_for_word(ledger: Ledger, reopen: Callable[[], Ledger]) -> None:
    first, second = a_message("one"), a_message("two\udcff\x00", pages=("a.html",))
    ledger.outbox.enqueue("phone", [first, second], night(0))
    with reopen() as again:
        waiting = again.outbox.pending()
    assert [one.message for one in waiting] == [first, second]
    assert {(one.target, one.tries, one.last_error, one.created) for one in waiting} == {("phone", 0, None, night(0))}


def test_a_message_and_its_marks_are_kept_together_or_not_at_all(ledger: Ledger) -> None:
    a_night(ledger, 0, Answer.NONCONFORMITY)
    changes = ledger.outbox.untold("phone", night(0))
    twice = a_message()
    with pytest.raises(LedgerError):
        ledger.outbox.enqueue("phone", [twice, twice], night(0), transitions=changes)
    assert ledger.outbox.pending() == ()
    assert ledger.outbox.untold("phone", night(0)) == changes
    ledger.outbox.enqueue("phone", [twice], night(0), transitions=changes)
    assert ledger.outbox.untold("phone", night(0)) == ()


def test_marks_that_fail_keep_the_message_out(ledger: Ledger, monkeypatch: pytest.MonkeyPatch) -> None:
    def broken(*_: object) -> None:
        raise LedgerError("the power went")

    monkeypatch.setattr("coverage_audit.ledger.telling.mark_told", broken)
    with pytest.raises(LedgerError):
        ledger.outbox.enqueue("phone", [a_message()], night(0))
    assert ledger.outbox.pending() == ()


def test_a_try_that_failed_waits_and_keeps_its_event(ledger: Ledger) -> None:
    message = a_message()
    ledger.outbox.enqueue("phone", [message], night(0))
    (queued,) = ledger.outbox.due(night(0), HOUR)
    ledger.outbox.tried(queued, night(0), "status 500", HOUR, frozenset({"digest"}))
    assert ledger.outbox.due(night(0), HOUR) == ()
    (again,) = ledger.outbox.due(night(0) + HOUR, HOUR)
    assert (again.message, again.tries, again.last_error) == (message, 1, "status 500")
    assert again.served == {"digest"}
    assert again.last_try == night(0)


def test_what_a_clock_that_was_ahead_put_in_is_due_once_it_was_set_back(ledger: Ledger) -> None:
    ledger.outbox.enqueue("phone", [a_message()], night(365))
    (queued,) = ledger.outbox.due(night(0), HOUR)
    ledger.outbox.tried(queued, night(0), "no answer", HOUR, frozenset())
    assert ledger.outbox.due(night(0), HOUR) == ()
    assert len(ledger.outbox.due(night(0) + HOUR, HOUR)) == 1


def test_what_was_accepted_waits_no_more_and_only_its_subject_is_kept(ledger: Ledger) -> None:
    message = a_message()
    ledger.outbox.enqueue("phone", [message], night(0))
    ledger.outbox.accepted(message.event, night(1))
    assert ledger.outbox.pending() == ()
    with ledger._reading() as connection:
        row = connection.execute(select(OUTBOX)).one()
    assert (row.event, row.accepted, row.tries) == (message.event, night(1), 1)
    assert row.body == {"subject": message.subject}


def test_what_lasts_is_known_with_when_each_address_was_last_told(ledger: Ledger) -> None:
    a_night(ledger, 0, Answer.UNVERIFIED)
    ledger.outbox.enqueue("phone", [], night(0), transitions=ledger.outbox.untold("phone", night(0)))
    assert ledger.outbox.lasting("mail") == ()
    a_night(ledger, 1, Answer.NONCONFORMITY)
    ledger.outbox.enqueue("phone", [], night(1), transitions=ledger.outbox.untold("phone", night(1)))
    (lasting,) = ledger.outbox.lasting("phone")
    assert (lasting.since, lasting.told, lasting.answer) == (night(0), night(1), Answer.NONCONFORMITY)
    ledger.outbox.enqueue("phone", [], night(3), reminded=[lasting])
    assert [one.told for one in ledger.outbox.lasting("phone")] == [night(3)]
    a_night(ledger, 4, Answer.CONFORMITY)
    assert ledger.outbox.lasting("phone") == ()


def aged(state: Path) -> None:
    """Make everything kept two hours older."""
    for entry in (state / "pages").iterdir():
        then = entry.stat().st_mtime - 7200
        os.utime(entry, (then, then))


def test_a_page_is_kept_as_long_as_a_message_that_waits_names_it(ledger: Ledger, state: Path) -> None:
    name = ledger.outbox.keep_page("<p>the page", night(0))
    message = a_message(pages=(name,))
    ledger.outbox.enqueue("mail", [message], night(0))
    second = ledger.outbox.keep_page("<p>another", night(1))
    aged(state)
    third = ledger.outbox.keep_page("<p>a third", night(1))
    assert [ledger.outbox.page(one) for one in (name, second, third)] == ["<p>the page", None, "<p>a third"]
    ledger.outbox.accepted(message.event, night(1))
    aged(state)
    ledger.outbox.keep_page("<p>a fourth", night(2))
    assert ledger.outbox.page(name) is None
    (kept,) = (state / "pages").iterdir()
    assert kept.stat().st_mode & 0o777 == 0o600


def test_what_was_kept_just_now_stays_though_no_message_names_it_yet(ledger: Ledger) -> None:
    page = ledger.outbox.keep_page("<p>of the one who is about to name it", night(0))
    ledger.outbox.keep_page("<p>of another", night(0))
    assert ledger.outbox.page(page) is not None


def test_pictures_wait_with_their_message_and_are_cleaned_with_it(ledger: Ledger, state: Path) -> None:
    chart = Picture(name="chart.png", alt="as words\udcff", png=b"\x89PNG\x00\xff")
    kept = ledger.outbox.keep_pictures([chart], night(0))
    message = replace(a_message(), pictures=kept)
    ledger.outbox.enqueue("mail", [message], night(0))
    aged(state)
    ledger.outbox.keep_page("<p>", night(1))
    (waiting,) = ledger.outbox.pending()
    assert waiting.message == message
    assert [ledger.outbox.picture(one) for one in waiting.message.pictures] == [chart]
    ledger.outbox.accepted(message.event, night(1))
    aged(state)
    ledger.outbox.keep_page("<p>", night(2))
    assert ledger.outbox.picture(kept[0]) is None


def test_a_message_of_before_there_were_pictures_is_still_read(ledger: Ledger) -> None:
    message = a_message()
    ledger.outbox.enqueue("mail", [message], night(0))
    with ledger._writing() as connection:
        body = connection.execute(select(OUTBOX.c.body)).scalar_one()
        connection.execute(update(OUTBOX).values(body={key: body[key] for key in body if key != "pictures"}))
    assert [one.message for one in ledger.outbox.pending()] == [message]


def test_pages_of_others_are_left_alone(ledger: Ledger, state: Path) -> None:
    (state / "pages" / "2026-11-02.html").write_text("a weekly page")
    ledger.outbox.keep_page("<p>", night(0))
    assert (state / "pages" / "2026-11-02.html").exists()


def test_one_sends_at_a_time(ledger: Ledger) -> None:
    other: Outbox = ledger.outbox
    with ledger.outbox.sending() as mine:
        assert mine
        with other.sending() as theirs:
            assert not theirs
    with other.sending() as theirs:
        assert theirs

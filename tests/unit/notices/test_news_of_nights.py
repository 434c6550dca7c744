"""Nights told to addresses, through a real ledger."""

from __future__ import annotations

from datetime import date

from coverage_audit.estate.model import NoticeKind, PolicyId
from coverage_audit.judgement.verdict import Answer
from coverage_audit.ledger.ledger import Ledger
from coverage_audit.ledger.outgoing import OutgoingKind
from coverage_audit.ledger.past_record import NightRecord
from tests.builders.outbox import a_target, an_estate, told_night
from tests.builders.recorded import night

FAILS, UNKNOWN, FINE, WAIVED = Answer.NONCONFORMITY, Answer.UNVERIFIED, Answer.CONFORMITY, Answer.WAIVED
COPIES = "copies:field-recordings"


def test_what_lasts_is_told_again_more_and_more_rarely(ledger: Ledger) -> None:
    estate = an_estate(a_target())
    said = {day: told_night(ledger, day, {COPIES: FAILS}, estate) for day in range(70)}
    assert [day for day, subjects in said.items() if subjects] == [0, 1, 3, 7, 14, 30, 60]
    assert said[0] == ["Saltreach Field Station: field-recordings not covered (1 finding)"]
    assert said[7] == ["Saltreach Field Station: field-recordings still not covered since 2026-11-01 (1 finding)"]
    assert {one.message.kind for one in ledger.outbox.pending()} == {OutgoingKind.FAILING, OutgoingKind.REMINDER}


def test_what_worsens_is_told_at_once(ledger: Ledger) -> None:
    estate = an_estate(a_target())
    told_night(ledger, 0, {COPIES: UNKNOWN}, estate)
    told_night(ledger, 1, {COPIES: UNKNOWN}, estate)
    assert told_night(ledger, 2, {COPIES: FAILS}, estate)
    assert "It got worse: it was unverified before" in ledger.outbox.pending()[-1].message.text


def test_a_reminder_stands_in_the_one_message_of_the_night(ledger: Ledger) -> None:
    estate = an_estate(a_target(), policies={"field-recordings": "careful", "survey-sheets": "careful"})
    told_night(ledger, 0, {COPIES: FAILS}, estate)
    (subject,) = told_night(ledger, 1, {COPIES: FAILS, "age:survey-sheets": FAILS}, estate)
    assert subject.endswith("survey-sheets not covered (1 finding), 1 still open, told before")
    text = ledger.outbox.pending()[-1].message.text
    assert "since 2026-11-01" in text.split("Reminder: still not covered")[1]
    assert "survey-sheets" not in text.split("Reminder: still not covered")[1]


def test_a_recovery_ends_the_reminders(ledger: Ledger) -> None:
    estate = an_estate(a_target())
    told_night(ledger, 0, {COPIES: FAILS}, estate)
    (subject,) = told_night(ledger, 1, {COPIES: FINE}, estate)
    assert "1 recovered" in subject
    assert [told_night(ledger, day, {COPIES: FINE}, estate) for day in range(2, 9)] == [[]] * 7


def test_an_address_hears_only_of_its_policies_and_of_the_estate(ledger: Ledger) -> None:
    irreplaceable = a_target(policies=frozenset({PolicyId("irreplaceable")}))
    estate = an_estate(irreplaceable, policies={"field-recordings": "irreplaceable", "camera-trap": "ordinary"})
    (subject,) = told_night(ledger, 0, {COPIES: FAILS, "copies:camera-trap": FAILS}, estate)
    assert subject == "Saltreach Field Station: field-recordings not covered (1 finding)"
    text = ledger.outbox.pending()[0].message.text
    assert "camera-trap" not in text.split("Open besides")[0]
    assert told_night(ledger, 1, {COPIES: FINE, "copies:camera-trap": FAILS}, estate)[0].count("1 recovered") == 1
    assert told_night(ledger, 2, {COPIES: FINE, "copies:camera-trap": FINE}, estate) == []


def test_an_address_that_wants_recoveries_alone_is_never_reminded(ledger: Ledger) -> None:
    estate = an_estate(a_target(send=frozenset({NoticeKind.RECOVERED})))
    assert [told_night(ledger, day, {COPIES: FAILS}, estate) for day in range(10)] == [[]] * 10
    assert told_night(ledger, 10, {COPIES: FINE}, estate)


def test_two_addresses_get_a_message_each_and_share_the_page(ledger: Ledger) -> None:
    estate = an_estate(a_target("phone"), a_target("mail"))
    assert len(told_night(ledger, 0, {COPIES: FAILS}, estate, page="<p>")) == 2
    first, second = ledger.outbox.pending()
    assert first.message.event != second.message.event
    assert (first.target, second.target) == ("phone", "mail")
    assert ledger.outbox.page(second.message.pages[0]) == "<p>"


def test_missed_nights_are_told_once_even_where_the_night_is_audited_twice(ledger: Ledger) -> None:
    estate = an_estate(a_target("phone"), a_target("mail"))
    record = NightRecord(night=date(2026, 11, 5), started=night(4), missed=2, missed_since=date(2026, 11, 3))
    told_night(ledger, 1, {COPIES: FAILS}, estate)
    first = told_night(ledger, 4, {COPIES: FINE}, estate, record=record)
    assert [subject.count("2 nights had no audit since 2026-11-03") for subject in first] == [1, 1]
    for waiting in ledger.outbox.pending():
        ledger.outbox.accepted(waiting.message.event, night(4))
    assert told_night(ledger, 4, {COPIES: FINE}, estate, record=record) == []
    again = told_night(ledger, 4, {COPIES: FAILS}, estate, record=record)
    assert len(again) == 2
    assert not any("no audit" in subject for subject in again)


def test_a_quiet_night_that_missed_none_is_no_message(ledger: Ledger) -> None:
    record = NightRecord(night=date(2026, 11, 2), started=night(1))
    assert told_night(ledger, 1, {COPIES: FINE}, an_estate(a_target()), record=record) == []


def test_of_a_finding_that_was_waived_and_woke_each_step_is_told(ledger: Ledger) -> None:
    estate = an_estate(a_target())
    said = [
        told_night(ledger, day, {COPIES: answer}, estate) for day, answer in enumerate((FAILS, WAIVED, WAIVED, FAILS))
    ]
    assert [subjects[0].split(": ")[1] if subjects else "" for subjects in said] == [
        "field-recordings not covered (1 finding)",
        "field-recordings waived (1 finding), nothing else open",
        "",
        "field-recordings not covered (1 finding)",
    ]

"""What waits in the outbox, sent through a real mail server and a real web endpoint that fail and come back."""

from __future__ import annotations

import json
from dataclasses import replace
from datetime import UTC, datetime, time, timedelta
from email import message_from_bytes, policy
from email.message import EmailMessage
from html import unescape
from re import sub

from sqlalchemy import select

from coverage_audit.judgement.verdict import Answer
from coverage_audit.ledger.ledger import Ledger
from coverage_audit.ledger.tables_of_nights import OUTBOX
from coverage_audit.notices.composing import compose
from coverage_audit.notices.delivery import Delivered, Failed
from coverage_audit.notices.sending import Held, send_waiting
from coverage_audit.notices.telling import outgoing
from tests.builders.noticed import a_change, a_recovery
from tests.builders.outbox import a_message, a_target, an_estate, told_night
from tests.builders.recorded import a_judged, night
from tests.parts.mailbox import PLANTED, Endpoint, Mailbox

NOON = datetime(2026, 11, 26, 12, tzinfo=UTC)
PAGE = "<!DOCTYPE html><title>the page</title>"


def strictly(raw: bytes) -> EmailMessage:
    """A mail as the standard library reads it where it raises at every defect."""
    letter = message_from_bytes(raw, policy=policy.strict)
    assert isinstance(letter, EmailMessage)
    for part in letter.walk():
        assert not part.defects
        for name, value in part.items():
            assert "\n" not in str(value), name
    return letter


def test_a_mail_that_was_refused_comes_again_under_the_same_message_id(ledger: Ledger, mailbox: Mailbox) -> None:
    estate, environment = (
        an_estate(a_target("mail")),
        {"MAIL_URL": mailbox.address("owner@station.example,b@c.example")},
    )
    message = a_message()
    ledger.outbox.enqueue("mail", [message], NOON)
    mailbox.refused = {"b@c.example"}
    (failed,) = send_waiting(estate, ledger.outbox, lambda: NOON, environment)
    assert isinstance(failed, Failed)
    assert send_waiting(estate, ledger.outbox, lambda: NOON, environment) == ()  # it waits a minute
    mailbox.refused = set()
    later = NOON + timedelta(minutes=1)
    assert send_waiting(estate, ledger.outbox, lambda: later, environment) == (Delivered(target="mail"),)
    assert mailbox.recipients == ["owner@station.example", "b@c.example"]  # who had it is not sent it again
    ids = {name for name, _ in mailbox.taken}
    assert ids == {f"<{message.event}@127.0.0.1>"}
    assert {letter["X-Coverage-Audit-Event"] for letter in mailbox.letters} == {message.event}
    assert ledger.outbox.pending() == ()


def test_an_event_keeps_its_name_at_an_endpoint_that_fails(ledger: Ledger, endpoint: Endpoint) -> None:
    estate, environment = an_estate(a_target()), {"PHONE_URL": endpoint.address()}
    message = a_message()
    ledger.outbox.enqueue("phone", [message], NOON)
    endpoint.status = 500
    now = NOON
    waits: list[timedelta] = []
    for _ in range(4):
        (outcome,) = send_waiting(estate, ledger.outbox, lambda: now, environment)  # noqa: B023 - called at once
        assert isinstance(outcome, Failed)
        (queued,) = ledger.outbox.pending()
        waits.append(queued.not_before - now)
        now = queued.not_before
    assert waits == [timedelta(minutes=minutes) for minutes in (1, 2, 4, 8)]
    said = ledger.outbox.pending()[0].last_error or ""
    assert "status 500" in said
    assert PLANTED not in said
    endpoint.status = 200
    assert send_waiting(estate, ledger.outbox, lambda: NOON, environment) == ()
    assert send_waiting(estate, ledger.outbox, lambda: NOON, environment, at_once=True) == (Delivered(target="phone"),)
    assert [name for name, _ in endpoint.taken] == [message.event]
    assert send_waiting(estate, ledger.outbox, lambda: now, environment, at_once=True) == ()


def test_quiet_hours_are_waited_for_even_by_what_is_sent_at_once(ledger: Ledger, endpoint: Endpoint) -> None:
    estate, environment = an_estate(a_target(quiet=(time(22), time(7)))), {"PHONE_URL": endpoint.address()}
    three, seven = datetime(2026, 11, 27, 3, tzinfo=UTC), datetime(2026, 11, 27, 7, tzinfo=UTC)
    ledger.outbox.enqueue("phone", [a_message()], three)
    assert send_waiting(estate, ledger.outbox, lambda: three, environment, at_once=True) == (
        Held(target="phone", until=seven),
    )
    assert endpoint.bodies == []
    day_later = three + timedelta(days=1)
    (passed_over,) = send_waiting(estate, ledger.outbox, lambda: day_later, environment, at_once=True)
    assert isinstance(passed_over, Failed)
    assert "more than a day" in passed_over.reason
    assert send_waiting(estate, ledger.outbox, lambda: seven, environment) == (Delivered(target="phone"),)


def test_what_failed_for_more_than_a_day_is_said_in_quiet_hours_too(ledger: Ledger, endpoint: Endpoint) -> None:
    estate, environment = an_estate(a_target(quiet=(time(22), time(7)))), {"PHONE_URL": endpoint.address()}
    endpoint.status = 500
    ledger.outbox.enqueue("phone", [a_message()], NOON)
    send_waiting(estate, ledger.outbox, lambda: NOON, environment)
    night_after = NOON + timedelta(hours=35)
    (said,) = send_waiting(estate, ledger.outbox, lambda: night_after, environment, at_once=True)
    assert isinstance(said, Failed)
    assert "status 500" in said.reason
    assert len(endpoint.bodies) == 1


def test_an_address_that_cannot_be_had_keeps_its_messages_and_stops_no_other(
    ledger: Ledger, endpoint: Endpoint
) -> None:
    estate = an_estate(a_target("mail"), a_target("phone"))
    ledger.outbox.enqueue("mail", [a_message("lost?")], NOON)
    ledger.outbox.enqueue("gone", [a_message("to whom?")], NOON)
    ledger.outbox.enqueue("phone", [a_message()], NOON)
    outcomes = send_waiting(estate, ledger.outbox, lambda: NOON, {"PHONE_URL": endpoint.address()})
    assert [type(one) for one in outcomes] == [Failed, Delivered]
    assert [(one.target, one.tries) for one in ledger.outbox.pending()] == [("mail", 1), ("gone", 0)]


def test_nothing_is_sent_while_another_process_sends(ledger: Ledger, endpoint: Endpoint) -> None:
    estate, environment = an_estate(a_target()), {"PHONE_URL": endpoint.address()}
    ledger.outbox.enqueue("phone", [a_message()], NOON)
    with ledger.outbox.sending():
        held = send_waiting(estate, ledger.outbox, lambda: NOON, environment, at_once=True)
    assert held == (Held(target="phone", until=None),)
    assert endpoint.bodies == []


def test_a_night_arrives_as_one_mail_with_its_page_and_none_of_its_address_is_kept(
    ledger: Ledger, mailbox: Mailbox
) -> None:
    estate = an_estate(a_target("mail"))
    told_night(ledger, 0, {"copies:field-recordings": Answer.NONCONFORMITY}, estate, page=PAGE)
    environment = {"MAIL_URL": mailbox.address(more=f"&user=audit&pass={PLANTED}")}
    send_waiting(estate, ledger.outbox, lambda: NOON, environment)
    environment = {"MAIL_URL": mailbox.address()}
    assert send_waiting(estate, ledger.outbox, lambda: NOON, environment, at_once=True) == (Delivered(target="mail"),)
    (raw,) = mailbox.raw
    letter = strictly(raw)
    assert letter["Subject"] == "Saltreach Field Station: field-recordings not covered (1 finding)"
    (attached,) = letter.iter_attachments()
    assert attached.get_filename() == "coverage-audit.html"
    assert attached.get_content_type() == "text/html"
    assert PAGE in attached.get_content()
    with ledger._reading() as connection:
        rows = connection.execute(select(OUTBOX)).all()
    assert PLANTED not in repr(rows)


HOSTILE = "x\r\nBcc: thief@example.org\n\x1b[2J\u202e<b>\udcff é 田 " + "long " * 30


def test_hostile_names_stay_within_their_header_and_text_and_html_say_the_same(
    ledger: Ledger, mailbox: Mailbox
) -> None:
    change = a_change(f"age:{HOSTILE}", dataset=HOSTILE, message=HOSTILE, mend=HOSTILE)
    judged = replace(a_judged(night(3), {HOSTILE: [change.finding]}), estate=HOSTILE)
    message = compose(judged, [change, a_recovery()], page=None)
    assert message is not None
    ledger.outbox.enqueue("mail", [outgoing(message)], NOON)
    environment = {"MAIL_URL": mailbox.address()}
    assert send_waiting(an_estate(a_target("mail")), ledger.outbox, lambda: NOON, environment) == (
        Delivered(target="mail"),
    )
    assert mailbox.recipients == ["owner@station.example"]
    letter = strictly(mailbox.raw[0])
    assert letter["Bcc"] is None
    assert " ".join(str(letter["Subject"]).split()) == " ".join(message.subject.split())
    plain, rich = letter.get_body(("plain",)), letter.get_body(("html",))
    assert plain is not None
    assert rich is not None
    shown = unescape(sub("<[^>]*>", " ", rich.get_content().split("<body", 1)[1].split(">", 1)[1]))
    assert words(plain.get_content()) == words(shown)


def words(text: str) -> list[str]:
    """The words of a text without the marks and rules that plain text has instead of tags."""
    return [word for word in text.replace("*", " ").split() if not set(word) <= set("-=_|#")]


def test_a_push_service_is_told_the_event_in_a_header(ledger: Ledger, endpoint: Endpoint) -> None:
    message = a_message()
    ledger.outbox.enqueue("phone", [message], NOON)
    send_waiting(an_estate(a_target()), ledger.outbox, lambda: NOON, {"PHONE_URL": endpoint.address()})
    (body,) = endpoint.bodies
    assert json.loads(body)["message"] == message.short
    assert endpoint.taken[0][0] == message.event


def test_a_service_without_headers_of_its_own_is_told_it_in_the_message(ledger: Ledger, endpoint: Endpoint) -> None:
    message = a_message()
    ledger.outbox.enqueue("phone", [message], NOON)
    address = f"ntfy://127.0.0.1:{endpoint.port}/topic"
    send_waiting(an_estate(a_target()), ledger.outbox, lambda: NOON, {"PHONE_URL": address})
    assert f"[{message.event[:12]}]".encode() in endpoint.bodies[0]

"""What the auditor says of itself: to whom, and once."""

from __future__ import annotations

import pytest

from coverage_audit.estate.model import NoticeKind, NoticeTarget
from coverage_audit.ledger.ledger import Ledger
from coverage_audit.ledger.outgoing import OutgoingKind
from coverage_audit.notices.telling import Notice, put_notice
from tests.builders.outbox import a_target, an_estate
from tests.builders.recorded import night

REFUSED = Notice(
    subject="the estate file is refused; the one of 2026-11-03 stays in force",
    lines=("/etc/estate.yaml, line 4: 'attic' is no site.", "Mend the file; it is read again by itself."),
    once="estate refused 4be1",
)


def test_it_says_in_its_subject_what_matters_and_everywhere_the_same(ledger: Ledger) -> None:
    assert put_notice(an_estate(a_target()), ledger.outbox, REFUSED, night(0)) == 1
    (waiting,) = ledger.outbox.pending()
    message = waiting.message
    assert message.kind is OutgoingKind.DAEMON
    assert message.subject == "Saltreach: the estate file is refused; the one of 2026-11-03 stays in force"
    for line in REFUSED.lines:
        assert line in message.text
        assert line in message.short
        assert line.replace("'", "&#x27;") in message.html


def test_what_is_told_once_is_not_told_again_even_after_it_was_taken(ledger: Ledger) -> None:
    estate = an_estate(a_target("phone"), a_target("mail"))
    assert put_notice(estate, ledger.outbox, REFUSED, night(0)) == 2
    for waiting in ledger.outbox.pending():
        ledger.outbox.accepted(waiting.message.event, night(0))
    assert put_notice(estate, ledger.outbox, REFUSED, night(1)) == 0
    assert ledger.outbox.pending() == ()


def test_what_has_no_name_is_told_each_time(ledger: Ledger) -> None:
    notice = Notice(subject="a night was given up", lines=("The disk was full.",))
    assert [put_notice(an_estate(a_target()), ledger.outbox, notice, night(day)) for day in (0, 1)] == [1, 1]


@pytest.mark.parametrize(
    ("targets", "told"),
    [
        ([a_target("phone"), a_target("page", send=frozenset({NoticeKind.SUMMARY}))], ["phone"]),
        ([a_target("page", send=frozenset({NoticeKind.SUMMARY}))], ["page"]),
        ([], []),
    ],
)
def test_it_goes_to_those_who_hear_what_fails_and_where_there_are_none_to_all(
    ledger: Ledger, targets: list[NoticeTarget], told: list[str]
) -> None:
    put_notice(an_estate(*targets), ledger.outbox, REFUSED, night(0))
    assert [waiting.target for waiting in ledger.outbox.pending()] == told


def test_hostile_words_are_shown_and_do_not_act(ledger: Ledger) -> None:
    notice = Notice(subject="x\r\nBcc: thief@example.org", lines=("<script>\x1b[2J",))
    put_notice(an_estate(a_target()), ledger.outbox, notice, night(0))
    message = ledger.outbox.pending()[0].message
    assert message.subject.isprintable()
    assert "<script" not in message.html
    assert all(line.isprintable() for line in message.short.splitlines())

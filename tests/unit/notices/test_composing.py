from __future__ import annotations

import re
from dataclasses import replace
from datetime import date
from html import unescape

import pytest

from coverage_audit.estate.model import DatasetId, NoticeKind
from coverage_audit.evidence.difference import Exposure
from coverage_audit.judgement.verdict import Answer, Finding, JudgedDataset
from coverage_audit.ledger.outgoing import Lasting, OutgoingKind
from coverage_audit.ledger.record import TransitionKind
from coverage_audit.notices.composing import compose
from coverage_audit.notices.message import Message
from coverage_audit.notices.news import Missed
from tests.builders.noticed import a_change, a_recovery, failing_estate
from tests.builders.recorded import a_finding, a_judged, a_judged_dataset, night

FAILING = [
    a_change(),
    a_change("media:field-recordings"),
    a_change("age:survey-sheets", answer=Answer.UNVERIFIED, dataset="survey-sheets"),
]


def composed(message: Message | None) -> Message:
    assert message is not None
    return message


def words(html: str) -> list[str]:
    """The words of a page, without its tags and its head."""
    body = html.split("<body", 1)[1]
    return unescape(re.sub("<[^>]*>", " ", f"<body{body}")).split()


def test_the_subject_alone_says_what_matters() -> None:
    message = composed(compose(failing_estate(), [*FAILING, a_recovery()], page=None))
    assert message.subject == (
        "Saltreach Field Station: field-recordings not covered (2 findings), "
        "survey-sheets unverified (1 finding), 1 recovered"
    )


def test_text_and_html_say_the_same() -> None:
    message = composed(compose(failing_estate(), [*FAILING, a_recovery()], page=None))
    text = [word for word in message.text.split() if word != "*" and not set(word) <= {"-"}]
    assert text == words(message.html)


def test_nothing_that_changed_is_no_message() -> None:
    assert compose(failing_estate(), [], page="<p>") is None


def test_a_finding_that_eased_is_no_message_by_itself_but_is_said_in_one() -> None:
    eased = a_change("age:survey-sheets", TransitionKind.EASED, Answer.UNVERIFIED, "survey-sheets", 2)
    assert compose(failing_estate(), [eased], page=None) is None
    assert "was not covered before" in composed(compose(failing_estate(), [eased, a_change()], page=None)).text


def test_a_finding_that_eased_before_its_begin_was_told_is_news() -> None:
    # Two audits by hand before an address hears of either, or an address that is declared after both.
    begun = a_change("age:survey-sheets", dataset="survey-sheets")
    eased = a_change("age:survey-sheets", TransitionKind.EASED, Answer.UNVERIFIED, "survey-sheets", 2)
    message = composed(compose(failing_estate(), [begun, eased], page=None))
    assert message.subject == "Saltreach Field Station: survey-sheets unverified (1 finding)"
    assert message.kind is OutgoingKind.FAILING
    assert "was not covered before" not in message.text


def test_an_open_finding_is_told_with_its_figures_of_this_audit() -> None:
    old = a_change(measured="ten days")
    now = a_judged(night(4), {"field-recordings": [a_finding(measured="eleven days")]})
    text = composed(compose(now, [old], page=None)).text
    assert "eleven days" in text
    assert "ten days" not in text
    assert "since 2026-11-03 04:10" in text


def test_of_several_changes_of_one_finding_the_last_counts() -> None:
    ended = replace(a_recovery("copies:field-recordings"), number=2)
    message = composed(compose(a_judged(night(4)), [a_change(), ended], page=None))
    assert "not covered" not in message.subject
    assert "1 recovered" in message.subject


CLOSED = [(Answer.WAIVED, "waived", "Waived: accepted"), (None, "no longer asked for", "No longer asked for")]


@pytest.mark.parametrize(("answer", "word", "section"), CLOSED)
def test_what_was_waived_or_left_the_estate_is_never_called_recovered(
    answer: Answer | None, word: str, section: str
) -> None:
    closed = a_change(kind=TransitionKind.ENDED, answer=answer)
    message = composed(compose(failing_estate(), [closed, a_recovery()], page=None))
    assert f"1 recovered, 1 {word}" in message.subject
    recovered, others = message.text.split(section)
    assert "copies" not in recovered.split("Recovered")[1]
    assert "copies" in others


@pytest.mark.parametrize(("answer", "word", "section"), CLOSED)
def test_a_night_whose_only_news_is_that_a_finding_was_waived_or_dropped_is_told(
    answer: Answer | None, word: str, section: str
) -> None:
    closed = a_change(
        kind=TransitionKind.ENDED, answer=answer, message="Waived until 2027-01-31 by R. Marsh: “moving”."
    )
    message = composed(compose(failing_estate(), [closed], page=None))
    assert message.subject == f"Saltreach Field Station: field-recordings {word} (1 finding), 3 still open"
    assert section in message.text
    assert ("R. Marsh" in message.text) == (answer is Answer.WAIVED)
    assert compose(failing_estate(), [closed], page=None, wants=frozenset({NoticeKind.SUMMARY})) is None


THREE = Missed(nights=3, since=date(2026, 11, 1))


def test_nights_without_an_audit_are_said_in_the_next_message() -> None:
    message = composed(compose(failing_estate(), FAILING, page=None, missed=THREE))
    assert message.subject.endswith("survey-sheets unverified (1 finding), 3 nights had no audit since 2026-11-01")
    for written in (message.text, message.html, message.short):
        assert "3 nights had no audit since 2026-11-01: this machine slept or was off" in written
    assert message.kind is OutgoingKind.FAILING


def test_nights_without_an_audit_are_a_message_by_themselves_to_those_who_hear_what_fails() -> None:
    fine = a_judged(night(3), {"field-recordings": [a_finding(answer=Answer.CONFORMITY)]})
    one = Missed(nights=1, since=date(2026, 11, 3))
    message = composed(compose(fine, [], page=None, missed=one))
    assert message.subject == "Saltreach Field Station: 1 night had no audit (2026-11-03), all conforming"
    assert message.kind is OutgoingKind.DAEMON
    assert "conforming" in message.short
    assert "1 night had no audit (2026-11-03)" in message.short
    assert compose(fine, [], page=None, missed=one, wants=frozenset({NoticeKind.RECOVERED})) is None


@pytest.mark.parametrize(
    ("wants", "told"),
    [
        ({NoticeKind.FAILING}, "not covered"),
        ({NoticeKind.RECOVERED}, "1 recovered"),
        ({NoticeKind.SUMMARY}, None),
    ],
)
def test_an_address_hears_only_what_it_wants(wants: set[NoticeKind], told: str | None) -> None:
    message = compose(failing_estate(), [a_change(), a_recovery()], page=None, wants=frozenset(wants))
    if told is None:
        assert message is None
    else:
        subject = composed(message).subject
        assert told in subject
        assert ("recovered" in subject) != ("not covered" in subject)


def test_all_conforming_is_said_only_of_a_whole_audit_with_nothing_open() -> None:
    recovery = [a_recovery("copies:field-recordings")]
    fine = {"field-recordings": [a_finding(answer=Answer.CONFORMITY)]}
    assert composed(compose(a_judged(night(3), fine), recovery, page=None)).subject.endswith("all conforming")
    part = composed(compose(a_judged(night(3), fine, whole=False), recovery, page=None))
    assert "all conforming" not in part.subject
    assert "Nothing else is open" not in part.text
    still = composed(compose(failing_estate(), recovery, page=None))
    assert still.subject.endswith("1 recovered, 3 still open")


def test_a_rehearsal_is_stamped() -> None:
    message = composed(compose(replace(failing_estate(), rehearsal=True), FAILING, page=None))
    assert message.subject.startswith("[rehearsal] ")
    assert "rehearsal" in message.text


HOSTILE = "x\r\nBcc: thief@example.org\n\x1b[2J\u202e<script>alert(1)</script>\udcff"


def test_hostile_names_are_shown_and_do_not_act() -> None:
    change = a_change(f"age:{HOSTILE}", dataset=HOSTILE, message=HOSTILE, mend=HOSTILE, measured=HOSTILE)
    judged = replace(a_judged(night(3), {HOSTILE: [change.finding]}), estate=HOSTILE)
    message = composed(compose(judged, [change], page=None))
    assert message.subject.isprintable()
    assert "<script" not in message.html
    for written in (message.text, message.html, message.short):
        assert all(line.isprintable() for line in written.splitlines())
        assert written.encode("utf-8")


def test_many_findings_leave_a_push_message_short_and_a_subject_on_one_line() -> None:
    many = [a_change(f"age:set-{n}", dataset=f"set-{n}", message="long " * 90, number=n) for n in range(500)]
    message = composed(compose(failing_estate(), many, page=None))
    assert len(message.short) <= 900
    assert len(message.subject) < 200
    assert "500 datasets or places not covered (500 findings)" in message.subject
    assert message.text.count("* fails") == 100
    assert "* and 400 more, on the page" in message.text
    text = [word for word in message.text.split() if word != "*" and not set(word) <= {"-"}]
    assert text == words(message.html)


def test_a_push_message_counts_what_it_leaves_out() -> None:
    many = [a_change(f"age:set-{n}", dataset=f"set-{n}", number=n) for n in range(500)]
    message = composed(compose(failing_estate(), many, page=None))
    assert message.short.endswith("and 494 more")


def exposed(name: str, files: int, size: int, *findings: Finding) -> JudgedDataset:
    dataset = a_judged_dataset(name, findings, night(3))
    return replace(dataset, exposure=Exposure(files=files, bytes=size))


def test_the_most_at_stake_comes_first_and_then_what_is_not_covered() -> None:
    names = {"little": 1, "nothing": 0, "much": 9_000_000_000}
    changes = [
        a_change("age:little", dataset="little"),
        a_change("age:nothing", answer=Answer.UNVERIFIED, dataset="nothing"),
        a_change("copies:nothing", dataset="nothing"),
        a_change("age:much", answer=Answer.UNVERIFIED, dataset="much"),
    ]
    datasets = tuple(
        exposed(name, 3, size, *(one.finding for one in changes if one.dataset == name)) for name, size in names.items()
    )
    message = composed(compose(replace(a_judged(night(3)), datasets=datasets), changes, page=None))
    assert message.subject == (
        "Saltreach Field Station: much unverified (1 finding, 9.0 GB at stake), "
        "little, nothing not covered (3 findings, 1 B at stake)"
    )
    heads = [line for line in message.text.splitlines() if line.startswith("* ")]
    assert heads == [
        "* unverified: much (age)",
        "* unverified: nothing (age)",
        "* fails: little (age)",
        "* fails: nothing (copies)",
    ]
    assert "At stake: 3 files (9.0 GB) that no copy is proven to hold" in message.text


def test_a_reminder_alone_says_in_its_subject_since_when() -> None:
    last = Lasting(finding=a_finding(), dataset=DatasetId("field-recordings"), since=night(0), told=night(2))
    message = composed(compose(failing_estate(), [], page=None, reminders=[last]))
    assert message.subject == (
        "Saltreach Field Station: field-recordings still not covered since 2026-11-01 (1 finding)"
    )
    assert message.kind is OutgoingKind.REMINDER
    assert "Reminder: still not covered" in message.html
    assert "Open besides, told before: 2" in message.text


def test_reminders_say_the_same_as_text_and_as_html() -> None:
    last = Lasting(finding=a_finding(), dataset=DatasetId("field-recordings"), since=night(0), told=night(2))
    message = composed(compose(failing_estate(), [*FAILING[1:], a_recovery()], page=None, reminders=[last]))
    text = [word for word in message.text.split() if word != "*" and not set(word) <= {"-"}]
    assert text == words(message.html)

"""One message out of what changed and what lasts, and nothing where there is no news and no reminder is due."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from coverage_audit.estate.model import NoticeKind
from coverage_audit.evidence.visible import visible
from coverage_audit.judgement.verdict import JudgedEstate
from coverage_audit.ledger.outgoing import Lasting, OutgoingKind
from coverage_audit.ledger.record import OPEN, Transition, TransitionKind
from coverage_audit.notices.at_stake import Stakes
from coverage_audit.notices.letters import letter_of
from coverage_audit.notices.mail_form import as_html
from coverage_audit.notices.message import Letter, Message
from coverage_audit.notices.news import Missed, News
from coverage_audit.notices.subject import subject
from coverage_audit.notices.writing import as_short, as_text

EVERYTHING = frozenset({NoticeKind.FAILING, NoticeKind.RECOVERED})


def compose(
    judged: JudgedEstate,
    transitions: Sequence[Transition],
    *,
    page: str | None,
    wants: frozenset[NoticeKind] = EVERYTHING,
    reminders: Sequence[Lasting] = (),
    missed: Missed | None = None,
) -> Message | None:
    """Return what to tell an address that wants `wants`, or None where there is nothing to tell it.

    `transitions` are all that it has not been told yet, in order; of several of one finding the last counts. What eased
    is no news by itself, unless its begin is.
    `reminders` last, and are to be told again. An open finding is shown with its figures of this audit. Only what is
    observed again counts as recovered: a finding that was waived, or whose subject left the estate, is named as such.
    `missed` nights are told to those who hear what fails, and wherever there is a message.
    """
    news = _sorted(judged, transitions, reminders, wants)
    if missed is not None and (NoticeKind.FAILING in wants or news.worth_telling):
        news = replace(news, missed=missed)
    if not news.worth_telling:
        return None
    title = subject(judged, news, still_open=_still_open(judged))
    return _message(letter_of(judged, news, title), page, _kind(news))


def _sorted(
    judged: JudgedEstate,
    transitions: Sequence[Transition],
    reminders: Sequence[Lasting],
    wants: frozenset[NoticeKind],
) -> News:
    last = {change.finding.id: change for change in transitions}.values()
    stakes = Stakes(judged)
    begun = {change.finding.id for change in transitions if change.kind is TransitionKind.BEGUN}

    def known(change: Transition) -> bool:
        return change.kind is TransitionKind.EASED and change.finding.id not in begun

    failing = [change for change in last if change.answer in OPEN and not known(change)]
    return News(
        failing=stakes.most_first(failing) if NoticeKind.FAILING in wants else [],
        reminded=stakes.most_first(reminders) if NoticeKind.FAILING in wants else [],
        recovered=[change for change in last if change.recovered] if NoticeKind.RECOVERED in wants else [],
        eased=[change for change in last if known(change)],
        closed=[change for change in last if change.answer not in OPEN and not change.recovered]
        if wants & EVERYTHING
        else [],
    )


def _kind(news: News) -> OutgoingKind:
    if news.failing:
        return OutgoingKind.FAILING
    if news.reminded:
        return OutgoingKind.REMINDER
    return OutgoingKind.RECOVERED if news.recovered or news.closed else OutgoingKind.DAEMON


def _still_open(judged: JudgedEstate) -> int:
    listed = [*judged.findings, *(finding for dataset in judged.datasets for finding in dataset.findings)]
    return len({finding.id for finding in listed if finding.answer in OPEN})


def _message(letter: Letter, page: str | None, kind: OutgoingKind) -> Message:
    return Message(
        subject=letter.title,
        text=as_text(letter),
        html=as_html(letter),
        short=as_short(letter),
        page=page,
        kind=kind,
    )


def compose_trial(estate: str, target: str) -> Message:
    """Return the message by which `preflight` tries an address."""
    title = f"{visible(estate)}: trial notice to '{visible(target)}'"
    opening = "Notices for this address arrive. Nothing is wrong and nothing is to be done."
    letter = Letter(title=title, opening=opening)
    return Message(subject=title, text=as_text(letter), html=as_html(letter), short=as_short(letter))


def compose_notice(estate: str, subject: str, lines: Sequence[str]) -> Message:
    """Return what the auditor has to say of itself: one sentence that says what matters, and what there is to know."""
    title = f"{visible(estate)}: {visible(subject)}"
    opening, *others = [visible(line) for line in lines] or [title]
    letter = Letter(title=title, opening=opening, notes=tuple(others))
    return Message(subject=title, text=as_text(letter), html=as_html(letter), short=as_short(letter))

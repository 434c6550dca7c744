"""What an audit has to tell an address goes into its outbox, together with the marks that it is told."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from uuid import uuid4

from coverage_audit.estate.model import Estate, NoticeTarget
from coverage_audit.judgement.verdict import JudgedEstate
from coverage_audit.ledger.outbox import Outbox
from coverage_audit.ledger.outgoing import Outgoing
from coverage_audit.notices.choosing import concerning
from coverage_audit.notices.composing import compose, compose_trial
from coverage_audit.notices.delivery import Delivered, Failed
from coverage_audit.notices.message import Message
from coverage_audit.notices.reminding import reminders
from coverage_audit.notices.sending import send_to


def put_news(
    target: NoticeTarget, estate: Estate, judged: JudgedEstate, outbox: Outbox, *, keep_page: Callable[[], str | None]
) -> None:
    """Put what changed for this address since it was last told, and the reminders that are due, into its outbox.

    `keep_page` is called where there is a message: it gives the kept name of the page that goes with it. What does not
    concern the address is marked as well: it is never news to it. Raises LedgerError.
    """
    changes = outbox.untold(target.name, judged.started)
    asked = {finding.id for dataset in judged.datasets for finding in dataset.findings}
    asked |= {finding.id for finding in judged.findings}
    lasting = [one for one in outbox.lasting(target.name) if one.finding.id in asked]
    news_now = {change.finding.id for change in changes}
    due = concerning(target, reminders(lasting, judged.started, estate.time_zone, told_now=news_now), estate)
    message = compose(judged, concerning(target, changes, estate), page=None, wants=target.send, reminders=due)
    if message is not None or changes:
        letters = [] if message is None else [outgoing(message, keep_page())]
        outbox.enqueue(target.name, letters, judged.finished, transitions=changes, reminded=due if message else ())


def outgoing(message: Message, page: str | None = None) -> Outgoing:
    """Give a message the name that it keeps over all tries; `page` is the kept name of what is attached."""
    return Outgoing(
        event=uuid4().hex,
        kind=message.kind,
        subject=message.subject,
        text=message.text,
        html=message.html,
        short=message.short,
        pages=() if page is None else (page,),
    )


def try_target(target: NoticeTarget, estate: str, environment: Mapping[str, str]) -> Delivered | Failed:
    """Send a trial message: it asks for nothing and tells nothing of the estate but its name."""
    return send_to(target, compose_trial(estate, target.name), environment)

"""What an audit has to tell an address goes into its outbox, together with the marks that it is told."""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import datetime
from uuid import uuid4

from coverage_audit.estate.model import Estate, NoticeKind, NoticeTarget
from coverage_audit.judgement.verdict import JudgedEstate
from coverage_audit.ledger.outbox import Outbox
from coverage_audit.ledger.outgoing import KeptPicture, Outgoing
from coverage_audit.ledger.past_record import NightRecord
from coverage_audit.notices.choosing import concerning
from coverage_audit.notices.composing import compose, compose_notice, compose_trial
from coverage_audit.notices.delivery import Delivered, Failed
from coverage_audit.notices.message import Message
from coverage_audit.notices.news import Missed
from coverage_audit.notices.reminding import reminders
from coverage_audit.notices.sending import send_to


@dataclass(frozen=True, kw_only=True)
class Notice:
    """What the auditor says of itself, e.g. that an estate file was refused, or a night given up.

    `subject` alone says what matters; `lines` say what it means and what to do. `once` names what is told once for all
    (None: each call is a message of its own), e.g. `estate refused` with a digest of the file.
    """

    subject: str
    lines: tuple[str, ...]
    once: str | None = None


def put_news(
    target: NoticeTarget,
    estate: Estate,
    judged: JudgedEstate,
    outbox: Outbox,
    *,
    keep_page: Callable[[], str | None],
    night: NightRecord | None = None,
) -> None:
    """Put what changed for this address since it was last told, and the reminders that are due, into its outbox.

    `keep_page` is called where there is a message: it gives the kept name of the page that goes with it. What does not
    concern the address is marked as well: it is never news to it. `night` is the daemon's, where the audit was one of
    its: nights that it missed are told once. Raises LedgerError.
    """
    changes = outbox.untold(target.name, judged.started)
    asked = {finding.id for dataset in judged.datasets for finding in dataset.findings}
    asked |= {finding.id for finding in judged.findings}
    lasting = [one for one in outbox.lasting(target.name) if one.finding.id in asked]
    news_now = {change.finding.id for change in changes}
    due = concerning(target, reminders(lasting, judged.started, estate.time_zone, told_now=news_now), estate)
    missed, event = _missed(night, target, outbox)
    message = compose(
        judged, concerning(target, changes, estate), page=None, wants=target.send, reminders=due, missed=missed
    )
    if message is not None or changes:
        letters = [] if message is None else [outgoing(message, keep_page(), event=event)]
        outbox.enqueue(target.name, letters, judged.finished, transitions=changes, reminded=due if message else ())


def _missed(night: NightRecord | None, target: NoticeTarget, outbox: Outbox) -> tuple[Missed | None, str | None]:
    """Return the missed nights that a target has still to be told of, and the name of the message that tells them."""
    if night is None or not night.missed:
        return None, None
    event = event_of(target.name, f"missed before {night.night}")
    return (None, None) if outbox.knows(event) else (Missed(nights=night.missed, since=night.missed_since), event)


def put_notice(estate: Estate, outbox: Outbox, notice: Notice, at: datetime) -> int:
    """Put what the auditor says of itself into the outbox of every address that hears what fails; how many took it.

    Where no address asked for that, all hear it. Of one `once` an address is told once, however often this is called.
    Raises LedgerError.
    """
    message = compose_notice(estate.name, notice.subject, notice.lines)
    told = 0
    for target in _hearing(estate):
        event = event_of(target.name, notice.once)
        if not outbox.knows(event):
            outbox.enqueue(target.name, [outgoing(message, event=event)], at)
            told += 1
    return told


def send_notice(estate: Estate, notice: Notice, environment: Mapping[str, str]) -> tuple[Delivered | Failed, ...]:
    """Send what the auditor says of itself past the outbox, now: for when the ledger cannot be used. Never raises.

    Nothing remembers what was sent; of one `once` the name is the same each time.
    """
    message = compose_notice(estate.name, notice.subject, notice.lines)
    return tuple(
        send_to(target, message, environment, event=event_of(target.name, notice.once)) for target in _hearing(estate)
    )


def _hearing(estate: Estate) -> tuple[NoticeTarget, ...]:
    """Return the targets that hear of the auditor itself."""
    return tuple(target for target in estate.notices if NoticeKind.FAILING in target.send) or estate.notices


def event_of(target: str, once: str | None) -> str:
    """Return the name of a message: of its own, or the one that what is told once has for this target."""
    if once is None:
        return uuid4().hex
    return hashlib.sha256(f"{target}\0{once}".encode("utf-8", "backslashreplace")).hexdigest()[:32]


def outgoing(
    message: Message, page: str | None = None, pictures: tuple[KeptPicture, ...] = (), *, event: str | None = None
) -> Outgoing:
    """Give a message the name that it keeps over all tries; `page` and `pictures` are kept and go with it."""
    return Outgoing(
        event=event or uuid4().hex,
        kind=message.kind,
        subject=message.subject,
        text=message.text,
        html=message.html,
        short=message.short,
        pages=() if page is None else (page,),
        pictures=pictures,
    )


def try_target(target: NoticeTarget, estate: str, environment: Mapping[str, str]) -> Delivered | Failed:
    """Send a trial message: it asks for nothing and tells nothing of the estate but its name."""
    return send_to(target, compose_trial(estate, target.name), environment)

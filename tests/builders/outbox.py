"""Messages that wait, and a ledger in which nights are told to addresses."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from datetime import time
from pathlib import Path
from uuid import uuid4

from coverage_audit.estate.model import DatasetId, Estate, NoticeKind, NoticeTarget, PolicyId
from coverage_audit.estate.reader import estate_of
from coverage_audit.judgement.verdict import Answer, Finding
from coverage_audit.ledger.ledger import Ledger
from coverage_audit.ledger.outgoing import Outgoing, OutgoingKind
from coverage_audit.ledger.past_record import NightRecord
from coverage_audit.ledger.record import AuditRecord
from coverage_audit.notices.telling import put_news
from tests.builders.recorded import ESTATE_TEXT, a_finding, a_judged, night
from tests.builders.two_places import two_places

BOTH = frozenset({NoticeKind.FAILING, NoticeKind.RECOVERED})


def a_message(subject: str = "Saltreach: field-recordings not covered", *, pages: tuple[str, ...] = ()) -> Outgoing:
    return Outgoing(
        event=uuid4().hex,
        kind=OutgoingKind.FAILING,
        subject=subject,
        text=f"{subject}\n",
        html=f"<p>{subject}</p>",
        short=subject,
        pages=pages,
    )


def a_target(
    name: str = "phone",
    *,
    send: frozenset[NoticeKind] = BOTH,
    quiet: tuple[time, time] | None = None,
    policies: frozenset[PolicyId] | None = None,
) -> NoticeTarget:
    """An address that is kept in the environment under its own name in capitals."""
    return NoticeTarget(name=name, send=send, url_env=f"{name.upper()}_URL", quiet=quiet, policies=policies)


def an_estate(*targets: NoticeTarget, policies: Mapping[str, str] | None = None) -> Estate:
    """The estate of two places with these addresses, and datasets of these policies."""
    estate = estate_of(
        f"estate: Saltreach\ntime_zone: Europe/Dublin\n{two_places()}".replace("{root}", "/srv"), Path("estate.yaml")
    )
    datasets = tuple(
        replace(estate.datasets[0], id=DatasetId(name), policy=PolicyId(policy))
        for name, policy in (policies or {"field-recordings": "careful"}).items()
    )
    return replace(estate, datasets=datasets, notices=targets)


def told_night(
    ledger: Ledger,
    number: int,
    answers: Mapping[str, Answer],
    estate: Estate,
    page: str | None = None,
    *,
    record: NightRecord | None = None,
) -> list[str]:
    """Record the nth night with these findings and put what it tells into the outbox; the subjects of what is new."""
    datasets: dict[str, list[Finding]] = {}
    for name, answer in answers.items():
        datasets.setdefault(name.split(":", 1)[1], []).append(a_finding(name, answer))
    judged = a_judged(night(number), datasets)
    ledger.record(AuditRecord(judged=judged, estate_text=ESTATE_TEXT))
    before = {one.message.event for one in ledger.outbox.pending()}
    for target in estate.notices:
        put_news(
            target,
            estate,
            judged,
            ledger.outbox,
            keep_page=lambda: None if page is None else ledger.outbox.keep_page(page, judged.finished),
            night=record,
        )
    return [one.message.subject for one in ledger.outbox.pending() if one.message.event not in before]

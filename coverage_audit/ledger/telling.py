"""Which changes each notice address has still to be told, so that a failed delivery is made up for next time."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import datetime

from sqlalchemy import Connection, Row, insert, select

from coverage_audit.estate.model import DatasetId
from coverage_audit.judgement.verdict import Answer
from coverage_audit.ledger.mapping import load_finding
from coverage_audit.ledger.record import Transition, TransitionKind
from coverage_audit.ledger.tables import AUDITS, DELIVERIES, FINDINGS, NOTICE_TARGETS, TRANSITIONS


def untold(connection: Connection, target: str, now: datetime) -> tuple[Transition, ...]:
    """Return all changes not yet delivered to a target, in the order in which they were seen.

    A target is known from the first time it is asked about (`now`, the audit's start). Of what happened before
    it hears only what is still open: a new address is not told of recoveries that it never knew were needed.
    """
    known_since = _known_since(connection, target, now)
    told = select(DELIVERIES.c.transition).where(DELIVERIES.c.target == target)
    still_open = select(FINDINGS.c.finding).where(FINDINGS.c.since.is_not(None))
    rows = connection.execute(
        select(TRANSITIONS, AUDITS.c.started.label("at"))
        .join(AUDITS, AUDITS.c.id == TRANSITIONS.c.audit)
        .where(TRANSITIONS.c.id.not_in(told))
        .where((AUDITS.c.started >= known_since) | TRANSITIONS.c.finding.in_(still_open))
        .order_by(TRANSITIONS.c.id)
    )
    return tuple(_transition(row) for row in rows)


def mark_told(connection: Connection, target: str, numbers: Iterable[int], at: datetime) -> None:
    """Note that these changes were delivered to a target."""
    told = set(connection.scalars(select(DELIVERIES.c.transition).where(DELIVERIES.c.target == target)))
    rows = [{"transition": number, "target": target, "at": at} for number in numbers if number not in told]
    if rows:
        connection.execute(insert(DELIVERIES), rows)


def _known_since(connection: Connection, target: str, now: datetime) -> datetime:
    known = connection.scalar(select(NOTICE_TARGETS.c.since).where(NOTICE_TARGETS.c.name == target))
    if isinstance(known, datetime):
        return known
    connection.execute(insert(NOTICE_TARGETS).values(name=target, since=now))
    return now


def _transition(row: Row[tuple[object, ...]]) -> Transition:
    return Transition(
        number=row.id,
        kind=TransitionKind(row.kind),
        finding=load_finding(row.body),
        dataset=None if row.dataset is None else DatasetId(row.dataset),
        answer=None if row.answer is None else Answer(row.answer),
        since=row.since,
        at=row.at,
    )

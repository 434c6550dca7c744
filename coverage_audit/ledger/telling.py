"""Which changes each notice address has still to be told, and when it was last told of what lasts.

Told means: put into its outbox, in the same transaction. What the outbox holds is delivered in the end.
"""

from __future__ import annotations

from collections.abc import Iterable
from datetime import datetime

from sqlalchemy import Connection, Row, func, insert, select, update

from coverage_audit.estate.model import DatasetId
from coverage_audit.judgement.verdict import Answer
from coverage_audit.ledger.mapping import load_finding
from coverage_audit.ledger.outgoing import Lasting
from coverage_audit.ledger.record import Transition, TransitionKind
from coverage_audit.ledger.tables import AUDITS, DELIVERIES, FINDINGS, NOTICE_TARGETS, TRANSITIONS


def untold(connection: Connection, target: str, now: datetime) -> tuple[Transition, ...]:
    """Return all changes that a target was not told yet, in the order in which they were seen.

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
    """Note that a target was told of these changes."""
    told = set(connection.scalars(select(DELIVERIES.c.transition).where(DELIVERIES.c.target == target)))
    rows = [{"transition": number, "target": target, "at": at} for number in numbers if number not in told]
    if rows:
        connection.execute(insert(DELIVERIES), rows)


def lasting(connection: Connection, target: str) -> tuple[Lasting, ...]:
    """Return the open findings of which a target was told."""
    told = (
        select(TRANSITIONS.c.finding, func.max(DELIVERIES.c.at).label("told"))
        .join(DELIVERIES, DELIVERIES.c.transition == TRANSITIONS.c.id)
        .where(DELIVERIES.c.target == target)
        .group_by(TRANSITIONS.c.finding)
        .subquery()
    )
    rows = connection.execute(
        select(FINDINGS, told.c.told)
        .join(told, told.c.finding == FINDINGS.c.finding)
        .where(FINDINGS.c.since.is_not(None))
        .order_by(FINDINGS.c.finding)
    )
    return tuple(
        Lasting(
            finding=load_finding(row.body),
            dataset=None if row.dataset is None else DatasetId(row.dataset),
            since=row.since,
            told=row.told,
        )
        for row in rows
    )


def mark_reminded(connection: Connection, target: str, findings: Iterable[str], at: datetime) -> None:
    """Note that a target was told once more of these findings: the mark of each one's last change moves on."""
    for finding in findings:
        last = (
            select(func.max(DELIVERIES.c.transition))
            .join(TRANSITIONS, TRANSITIONS.c.id == DELIVERIES.c.transition)
            .where(DELIVERIES.c.target == target, TRANSITIONS.c.finding == finding)
            .scalar_subquery()
        )
        number = connection.scalar(select(last))
        connection.execute(
            update(DELIVERIES).where(DELIVERIES.c.target == target, DELIVERIES.c.transition == number).values(at=at)
        )


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

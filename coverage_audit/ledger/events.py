"""What changed in the estate, and when: written with the audit that saw it, or when somebody accepted it."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import datetime

from sqlalchemy import ColumnElement, Connection, insert, select, true, update

from coverage_audit.estate.changes import ChangeKind, Detail, EstateChange
from coverage_audit.ledger.record import EstateEvent
from coverage_audit.ledger.tables import AUDITS, ESTATE_EVENTS, ESTATE_TEXTS


def write(connection: Connection, changes: Iterable[EstateChange], at: datetime, audit: int | None) -> None:
    """Write changes; `audit` is None for those that no audit saw."""
    for change in changes:
        body = {
            "part": change.part,
            "name": change.name,
            "details": [[detail.what, detail.before, detail.now] for detail in change.details],
            "who": change.who,
        }
        values = {"audit": audit, "at": at, "kind": change.kind.value, "subject": change.subject, "body": body}
        connection.execute(insert(ESTATE_EVENTS).values(**values))


def told_by(connection: Connection, audit: int) -> tuple[EstateEvent, ...]:
    """Return what changed up to this audit: what it saw itself, and what was accepted before it and not told yet.

    Not by the time: the clock may have gone back in between.
    """
    untold = ESTATE_EVENTS.c.audit.is_(None)
    connection.execute(update(ESTATE_EVENTS).where(untold).values(audit=audit))
    return _events(connection, ESTATE_EVENTS.c.audit == audit)


def since(connection: Connection, instant: datetime, until: datetime | None = None) -> tuple[EstateEvent, ...]:
    """Return what was noted after this instant, and no later than `until`."""
    ended = true() if until is None else ESTATE_EVENTS.c.at <= until
    return _events(connection, (ESTATE_EVENTS.c.at > instant) & ended)


def _events(connection: Connection, which: ColumnElement[bool]) -> tuple[EstateEvent, ...]:
    rows = connection.execute(select(ESTATE_EVENTS).where(which).order_by(ESTATE_EVENTS.c.id)).all()
    return tuple(
        EstateEvent(
            at=row.at,
            change=EstateChange(
                kind=ChangeKind(row.kind),
                part=row.body["part"],
                name=row.body["name"],
                details=tuple(Detail(what=what, before=old, now=new) for what, old, new in row.body["details"]),
                who=row.body["who"],
            ),
        )
        for row in rows
    )


def last_estate(connection: Connection) -> str | None:
    """Return the estate's text of the last audit recorded."""
    text: str | None = connection.execute(
        select(ESTATE_TEXTS.c.text)
        .join(AUDITS, AUDITS.c.estate_text == ESTATE_TEXTS.c.digest)
        .order_by(AUDITS.c.id.desc())
        .limit(1)
    ).scalar()
    return text

"""The rows of the outbox."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import datetime
from typing import Any

from sqlalchemy import Connection, Row, insert, select, update

from coverage_audit.ledger.outgoing import KeptPicture, Outgoing, OutgoingKind, Queued
from coverage_audit.ledger.tables_of_nights import OUTBOX


def put(connection: Connection, target: str, messages: Iterable[Outgoing], at: datetime) -> None:
    """Write messages to a target; they are due at once."""
    for message in messages:
        connection.execute(
            insert(OUTBOX).values(
                target=target,
                event=message.event,
                kind=message.kind.value,
                created=at,
                not_before=at,
                tries=0,
                body=_stored(message, frozenset()),
            )
        )


def pending(connection: Connection) -> tuple[Queued, ...]:
    """Return all that was not accepted yet, the oldest first."""
    rows = connection.execute(select(OUTBOX).where(OUTBOX.c.accepted.is_(None)).order_by(OUTBOX.c.id))
    return tuple(_queued(row) for row in rows)


def known(connection: Connection, event: str) -> bool:
    """Whether a message of this name was ever put in."""
    return connection.execute(select(OUTBOX.c.id).where(OUTBOX.c.event == event)).first() is not None


def tried(
    connection: Connection, queued: Queued, at: datetime, error: str, not_before: datetime, served: frozenset[str]
) -> None:
    """Write a try that failed."""
    connection.execute(
        update(OUTBOX)
        .where(OUTBOX.c.event == queued.message.event)
        .values(
            tries=OUTBOX.c.tries + 1,
            last_try=at,
            last_error=error,
            not_before=not_before,
            body=_stored(queued.message, served),
        )
    )


def accepted(connection: Connection, event: str, at: datetime) -> None:
    """Write that it was taken, and let go of all but its subject."""
    body = connection.execute(select(OUTBOX.c.body).where(OUTBOX.c.event == event)).scalar_one()
    values = {"accepted": at, "last_try": at, "last_error": None, "body": {"subject": body["subject"]}}
    connection.execute(update(OUTBOX).where(OUTBOX.c.event == event).values(tries=OUTBOX.c.tries + 1, **values))


def _stored(message: Outgoing, served: frozenset[str]) -> dict[str, Any]:
    return {
        "subject": message.subject,
        "text": message.text,
        "html": message.html,
        "short": message.short,
        "attachments": list(message.pages),
        "pictures": [[one.name, one.alt, one.file] for one in message.pictures],
        "served": sorted(served),
    }


def _queued(row: Row[Any]) -> Queued:
    body = row.body
    message = Outgoing(
        event=row.event,
        kind=OutgoingKind(row.kind),
        subject=body["subject"],
        text=body["text"],
        html=body["html"],
        short=body["short"],
        pages=tuple(body["attachments"]),
        pictures=tuple(KeptPicture(name=name, alt=alt, file=file) for name, alt, file in body.get("pictures", ())),
    )
    return Queued(
        target=row.target,
        message=message,
        created=row.created,
        not_before=row.not_before,
        tries=row.tries,
        last_try=row.last_try,
        last_error=row.last_error,
        served=frozenset(body["served"]),
    )

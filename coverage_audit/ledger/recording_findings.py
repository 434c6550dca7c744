"""The rows of findings and of how they changed."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime
from typing import Any

from sqlalchemy import Connection, delete, insert, select, update

from coverage_audit.estate.model import DatasetId
from coverage_audit.ledger.mapping import load_finding, store_finding
from coverage_audit.ledger.record import AuditRecord, Transition
from coverage_audit.ledger.tables import FINDINGS, TRANSITIONS
from coverage_audit.ledger.threads import followed
from coverage_audit.ledger.transitions import Change, Found, Stood, changes, findings_of, since, vanished


def write_findings(
    connection: Connection, audit: int, record: AuditRecord
) -> tuple[tuple[Transition, ...], Mapping[str, datetime]]:
    """Write the findings of an audit; return what changed, and since when those that are open now are open.

    What was renamed or moved goes on: neither has its finding ended nor has one begun.
    """
    judged, at = record.judged, record.judged.started
    found = findings_of(judged)
    stood, renamed = followed(_stood(connection), found, record.lineage)
    for former, name in renamed.items():
        _rename(connection, former, name)
    gone = vanished(stood, found, judged)
    open_since: dict[str, datetime] = {}
    for name, now in found.items():
        begun = since(stood.get(name), now.finding, at)
        if begun is not None:
            open_since[name] = begun
        connection.execute(delete(FINDINGS).where(FINDINGS.c.finding == name))
        connection.execute(insert(FINDINGS).values(_row(audit, name, now, begun)))
    for name in gone:
        connection.execute(update(FINDINGS).where(FINDINGS.c.finding == name).values(since=None, current=False))
    written = tuple(_write(connection, audit, change, at) for change in changes(stood, found, gone, at))
    return written, open_since


def _rename(connection: Connection, former: str, name: str) -> None:
    """Let a finding's past go on under its new id; the former one is not asked for any more."""
    connection.execute(update(FINDINGS).where(FINDINGS.c.finding == former).values(since=None, current=False))
    connection.execute(update(TRANSITIONS).where(TRANSITIONS.c.finding == former).values(finding=name))


def _stood(connection: Connection) -> dict[str, Stood]:
    stood: dict[str, Stood] = {}
    for row in connection.execute(select(FINDINGS).where(FINDINGS.c.current)):
        finding = load_finding(row.body)
        dataset = None if row.dataset is None else DatasetId(row.dataset)
        stood[finding.id] = Stood(finding=finding, dataset=dataset, since=row.since)
    return stood


def _row(audit: int, name: str, now: Found, begun: datetime | None) -> dict[str, Any]:
    return {
        "finding": name,
        "dataset": now.dataset,
        "answer": now.finding.answer.value,
        "since": begun,
        "current": True,
        "conclusion": now.conclusion.value,
        "audit": audit,
        "body": store_finding(now.finding),
    }


def _write(connection: Connection, audit: int, change: Change, at: datetime) -> Transition:
    made = connection.execute(
        insert(TRANSITIONS)
        .values(
            audit=audit,
            finding=change.finding.id,
            dataset=change.dataset,
            kind=change.kind.value,
            answer=None if change.answer is None else change.answer.value,
            since=change.since,
            body=store_finding(change.finding),
        )
        .returning(TRANSITIONS.c.id)
    )
    return Transition(
        number=made.scalar_one(),
        kind=change.kind,
        finding=change.finding,
        dataset=change.dataset,
        answer=change.answer,
        since=change.since,
        at=at,
    )

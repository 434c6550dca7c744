"""The rows of waivers: given by an owner, held against each audit, ended once and for all."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from datetime import datetime
from typing import Any

from sqlalchemy import Connection, Row, insert, select, update

from coverage_audit.judgement.accepting import REPLACED, Fate
from coverage_audit.judgement.verdict import Answer, Finding
from coverage_audit.judgement.waiving import Waiver
from coverage_audit.ledger.mapping import load_finding, store_finding
from coverage_audit.ledger.record import EndedWaiver
from coverage_audit.ledger.tables import FINDINGS, JUDGED_DATASETS
from coverage_audit.ledger.tables_of_nights import WAIVERS


def write(connection: Connection, name: str, *, who: str, why: str, given: datetime, until: datetime) -> None:
    """Write a waiver of the finding `name` as it was last answered; one that stood before ends."""
    end(connection, name, given, REPLACED)
    row = connection.execute(select(FINDINGS).where(FINDINGS.c.finding == name)).one()
    body = {"finding": store_finding(_unwaived(load_finding(row.body))), "exposed": _exposed(connection, row)}
    values = {"finding": name, "who": who, "why": why, "given": given, "until": until, "body": body}
    connection.execute(insert(WAIVERS).values(**values))


def standing(connection: Connection) -> tuple[Waiver, ...]:
    """Return the waivers that have not ended, in the order in which they were given."""
    rows = connection.execute(select(WAIVERS).where(WAIVERS.c.ended.is_(None)).order_by(WAIVERS.c.id)).all()
    return tuple(_waiver(row) for row in rows)


def ended_since(connection: Connection, instant: datetime) -> tuple[EndedWaiver, ...]:
    """Return the waivers that ended after an instant, the last one first."""
    rows = connection.execute(select(WAIVERS).where(WAIVERS.c.ended > instant).order_by(WAIVERS.c.id.desc())).all()
    return tuple(EndedWaiver(waiver=_waiver(row), ended=row.ended, why=row.ended_why or "") for row in rows)


def end(connection: Connection, name: str, at: datetime, why: str) -> bool:
    """End the waiver that stands for a finding; say whether there was one."""
    stands = (WAIVERS.c.finding == name) & WAIVERS.c.ended.is_(None)
    return bool(connection.execute(update(WAIVERS).where(stands).values(ended=at, ended_why=why)).rowcount)


def settle(connection: Connection, fates: Iterable[Fate], at: datetime) -> None:
    """Write what became of the waivers by an audit; one that its owner ended meanwhile stays as it is."""
    for fate in fates:
        stands = (WAIVERS.c.id == fate.number) & WAIVERS.c.ended.is_(None)
        row = connection.execute(select(WAIVERS.c.body).where(stands)).first()
        if row is None:
            continue
        since = None if fate.unneeded_since is None else fate.unneeded_since.isoformat()
        values: dict[str, Any] = {"finding": fate.name, "body": {**row.body, "unneeded_since": since}}
        if fate.ended is not None:
            values |= {"ended": at, "ended_why": fate.ended}
        connection.execute(update(WAIVERS).where(stands).values(**values))


def _unwaived(finding: Finding) -> Finding:
    """Return a finding as it would be without the waiver that holds of it."""
    if finding.answer is not Answer.WAIVED or finding.acceptance is None:
        return finding
    return replace(finding, answer=finding.acceptance.answer, acceptance=None)


def _exposed(connection: Connection, finding: Row[Any]) -> int | None:
    """Return what no copy of a finding's dataset held in the audit that last answered it, in bytes."""
    if finding.dataset is None:
        return None
    of_it = (JUDGED_DATASETS.c.audit == finding.audit) & (JUDGED_DATASETS.c.dataset == finding.dataset)
    exposed: int | None = connection.execute(select(JUDGED_DATASETS.c.exposed_bytes).where(of_it)).scalar()
    return exposed


def _waiver(row: Row[Any]) -> Waiver:
    since = row.body.get("unneeded_since")
    return Waiver(
        number=row.id,
        name=row.finding,
        finding=load_finding(row.body["finding"]),
        who=row.who,
        why=row.why,
        given=row.given,
        until=row.until,
        exposed=row.body["exposed"],
        unneeded_since=None if since is None else datetime.fromisoformat(since),
    )

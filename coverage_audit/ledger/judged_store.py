"""The newest whole audit as it was judged: kept with its record, given back as the same value or not at all."""

from __future__ import annotations

from dataclasses import dataclass

from sqlalchemy import Connection, delete, insert, select

from coverage_audit.judgement.verdict import JudgedEstate
from coverage_audit.ledger import judged_form
from coverage_audit.ledger.past_record import LastJudged
from coverage_audit.ledger.tables import AUDITS, ESTATE_TEXTS, JUDGED_AUDITS


@dataclass(frozen=True, kw_only=True)
class Kept:
    """A judged estate in the form in which it is kept; where it has none, `lacking` says why."""

    body: bytes | None
    lacking: str | None


def kept_form(judged: JudgedEstate) -> Kept | None:
    """Return the form of an audit that is to be kept (None: it is not, being of some datasets alone). Never raises."""
    if not judged.whole:
        return None
    try:
        return Kept(body=judged_form.written(judged), lacking=None)
    except ValueError as error:  # that the page of it cannot be made later is no reason to lose the audit
        return Kept(body=None, lacking=str(error))


def write(connection: Connection, audit: int, kept: Kept | None) -> None:
    """Keep an audit in the place of the one before."""
    if kept is None:
        return
    connection.execute(delete(JUDGED_AUDITS))
    values = {"audit": audit, "shape": judged_form.shape(), "body": kept.body, "lacking": kept.lacking}
    connection.execute(insert(JUDGED_AUDITS).values(**values))


def last_judged(connection: Connection) -> LastJudged | None:
    """Return the newest whole audit (None: there was none)."""
    row = connection.execute(
        select(AUDITS.c.started, AUDITS.c.finished, ESTATE_TEXTS.c.text)
        .add_columns(JUDGED_AUDITS.c.shape, JUDGED_AUDITS.c.body, JUDGED_AUDITS.c.lacking)
        .join(ESTATE_TEXTS, ESTATE_TEXTS.c.digest == AUDITS.c.estate_text)
        .outerjoin(JUDGED_AUDITS, JUDGED_AUDITS.c.audit == AUDITS.c.id)
        .where(AUDITS.c.whole)
        .order_by(AUDITS.c.id.desc())
        .limit(1)
    ).first()
    if row is None:
        return None
    judged, why = _read(row.shape, row.body, row.lacking)
    return LastJudged(started=row.started, finished=row.finished, estate_text=row.text, judged=judged, why=why)


def _read(shape: str | None, body: bytes | None, lacking: str | None) -> tuple[JudgedEstate | None, str]:
    """Return what was kept, or None and why."""
    if shape is None:
        return None, "it was recorded by a version of this program that kept no more than its figures"
    if shape != judged_form.shape():
        return None, "it was judged by another version of this program"
    if body is None:
        return None, f"it could not be kept ({lacking})"
    try:
        return judged_form.read(body), ""
    except ValueError as error:
        return None, f"what was kept of it is damaged ({error})"

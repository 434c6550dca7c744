"""How the auditor stands as one JSON object: `status --json`, schema `coverage-audit/status/1`.

The published schema is `config/status.schema.json`; keys may join it, none leaves. Every text passes `visible`.
"""

from __future__ import annotations

from typing import Final

from coverage_audit.audits.status import DatasetStatus, Status
from coverage_audit.estate.changes import said
from coverage_audit.judgement.waiving import Waiver
from coverage_audit.ledger.outgoing import Queued
from coverage_audit.ledger.past_record import AuditDay, NightOutcome, NightRecord
from coverage_audit.ledger.present_record import OpenFinding
from coverage_audit.reports.instants import rfc3339
from coverage_audit.reports.json_object import Json, json_object

SCHEMA: Final = "coverage-audit/status/1"


def status_json(status: Status) -> str:
    """Write it as one JSON object, without a newline at the end."""
    return json_object(_status(status))


def _status(status: Status) -> Json:
    times, counts = status.times, status.nights
    return {
        "schema": SCHEMA,
        "estate": status.estate,
        "time_zone": status.zone.key,
        "at": rfc3339(status.at),
        "standing": status.standing,
        "overdue": status.overdue,
        "conclusion": status.conclusion,
        "last_audit": None if status.last is None else _audit(status.last),
        "expected_since": rfc3339(times.expected),
        "next_audit": rfc3339(times.audit),
        "next_summary": rfc3339(times.summary),
        "daemon": status.daemon,
        "last_night": None if status.night is None else _night(status.night),
        "nights": {**{how.value: counts.ended.get(how, 0) for how in NightOutcome}, "missed": counts.missed},
        "datasets": [_dataset(dataset) for dataset in status.datasets],
        "failing": [_failing(one) for one in status.failing],
        "evidence": [{"kind": one.kind, "name": one.name, "at": rfc3339(one.at)} for one in status.evidence],
        "undelivered": [_queued(one) for one in status.undelivered],
        "undelivered_to_former_addresses": len(status.astray),
        "waived": status.waived,
        "declared_since": [said(change) for change in status.unjudged],
        "waivers_ending": [_waiver(one) for one in status.waivers],
    }


def _audit(day: AuditDay) -> Json:
    return {
        "started": rfc3339(day.started),
        "finished": rfc3339(day.finished),
        "conclusion": day.conclusion,
        "rehearsal": day.rehearsal,
    }


def _night(night: NightRecord) -> Json:
    return {
        "night": night.night.isoformat(),
        "started": rfc3339(night.started),
        "finished": rfc3339(night.finished),
        "outcome": night.outcome,
        "detail": night.detail,
        "missed": night.missed,
        "missed_since": None if night.missed_since is None else night.missed_since.isoformat(),
    }


def _dataset(dataset: DatasetStatus) -> Json:
    day = dataset.last
    return {
        "id": dataset.id,
        "conclusion": dataset.conclusion,
        "judged": None if day is None else rfc3339(day.at),
        "bytes": None if day is None else day.bytes,
        "exposed_bytes": None if day is None else day.exposed_bytes,
        "exposed_files": None if day is None else day.exposed_files,
        "exposed_since": None if day is None else rfc3339(day.exposed_since),
    }


def _failing(one: OpenFinding) -> Json:
    found = one.finding
    return {
        "id": found.id,
        "dataset": one.dataset,
        "answer": found.answer,
        "since": rfc3339(one.since),
        "message": found.message,
        "mend": found.mend,
    }


def _queued(one: Queued) -> Json:
    return {
        "target": one.target,
        "event": one.message.event,
        "subject": one.message.subject,
        "created": rfc3339(one.created),
        "tries": one.tries,
        "last_try": rfc3339(one.last_try),
        "last_error": one.last_error,
        "next_try": rfc3339(one.not_before),
    }


def _waiver(waiver: Waiver) -> Json:
    return {"finding": waiver.name, "who": waiver.who, "why": waiver.why, "until": rfc3339(waiver.until)}

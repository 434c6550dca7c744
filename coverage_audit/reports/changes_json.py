"""The look back as one JSON object: `changes --json`, schema `coverage-audit/changes/1`.

The published schema is `config/changes.schema.json`; keys may join it, none leaves. Every text passes `visible`.
"""

from __future__ import annotations

from typing import Final

from coverage_audit.estate.changes import EstateChange
from coverage_audit.estate.tightening import Asked
from coverage_audit.ledger.past_record import DatasetDay, VolumeDay
from coverage_audit.reports.changes import Changes, IncidentTold
from coverage_audit.reports.courses import DatasetCourse
from coverage_audit.reports.hardware_courses import DriveCourse, RoomSum, VolumeCourse
from coverage_audit.reports.instants import rfc3339
from coverage_audit.reports.json_object import Json, json_object
from coverage_audit.reports.trends import Counts

SCHEMA: Final = "coverage-audit/changes/1"


def changes_json(changes: Changes) -> str:
    """Write the look back as one JSON object, without a newline at the end."""
    return json_object(_told(changes))


def _told(changes: Changes) -> Json:
    looked, span = changes.looked, changes.span
    then, now = changes.room
    return {
        "schema": SCHEMA,
        "estate": looked.now.name,
        "time_zone": looked.now.time_zone.key,
        "asked": rfc3339(looked.asked),
        "first_audit": rfc3339(looked.first_audit),
        "from": span.first.isoformat(),
        "to": span.last.isoformat(),
        "days": _counts(changes.counts),
        "declared": None if changes.declared is None else [_change(change) for change in changes.declared],
        "asked_otherwise": [_asked(asked) for asked in changes.asked],
        "datasets": [_dataset(course) for course in changes.datasets],
        "drives": [_drive(drive) for drive in changes.drives],
        "filesystems": [
            {"volume": str(one.volume), "at": rfc3339(one.at), "before": one.before, "now": one.now}
            for one in changes.filesystems
        ],
        "volumes": [_volume(course) for course in changes.volumes],
        "room": {"then": _room(then), "now": _room(now)},
        "incidents": [_incident(told) for told in changes.incidents],
        "nights_without_audit": [
            {"first": one.first.isoformat(), "last": one.last.isoformat(), "count": one.count, "why": one.why}
            for one in changes.missing
        ],
        "events": [{"at": rfc3339(event.at), **_change(event.change)} for event in looked.back.events],
    }


def _counts(counts: Counts) -> Json:
    return {
        "conforming": counts.conforming,
        "nonconforming": counts.nonconforming,
        "unverified": counts.unverified,
        "no_audit": counts.no_audit,
    }


def _change(change: EstateChange) -> dict[str, Json]:
    details = [{"what": one.what, "before": one.before, "now": one.now} for one in change.details]
    return {"kind": change.kind, "part": change.part, "name": change.name, "who": change.who, "details": details}


def _asked(asked: Asked) -> Json:
    return {
        "part": asked.part,
        "name": asked.name,
        "direction": asked.direction,
        "under": None if asked.under is None else list(asked.under),
        "criteria": [
            {"what": turn.what, "before": turn.before, "now": turn.now, "tighter": turn.tighter} for turn in asked.turns
        ],
    }


def _dataset(course: DatasetCourse) -> Json:
    return {
        "id": course.dataset,
        "formerly": list(course.names[1:]),
        "born": None if course.born is None else course.born.isoformat(),
        "ended": None if course.ended is None else course.ended.isoformat(),
        "days": _counts(course.counts),
        "first": _size(course.first),
        "last": _size(course.last),
    }


def _size(day: DatasetDay | None) -> Json:
    return None if day is None else {"at": rfc3339(day.at), "files": day.files, "bytes": day.bytes}


def _drive(drive: DriveCourse) -> Json:
    return {
        "serial": drive.serial,
        "came": rfc3339(drive.came),
        "went": rfc3339(drive.went),
        "stays": [
            {"volume": str(stay.volume), "first": rfc3339(stay.first), "last": rfc3339(stay.last)}
            for stay in drive.stays
        ],
    }


def _volume(course: VolumeCourse) -> Json:
    return {
        "volume": str(course.volume),
        "declared_then": course.declared_then,
        "declared_now": course.declared_now,
        "first": _shown_room(course.first),
        "last": _shown_room(course.last),
    }


def _shown_room(day: VolumeDay | None) -> Json:
    return None if day is None else {"at": rfc3339(day.at), "capacity": day.capacity, "free": day.free}


def _room(room: RoomSum) -> Json:
    return {"capacity": room.capacity, "used": room.used, "shown": room.shown, "volumes": room.volumes}


def _incident(told: IncidentTold) -> Json:
    one = told.incident
    return {
        "id": one.finding.id,
        "dataset": one.dataset,
        "worst": one.worst,
        "began": rfc3339(one.began),
        "ended": rfc3339(one.ended),
        "over": told.over,
        "seconds": int(told.lasted.total_seconds()),
        "message": one.finding.message,
    }

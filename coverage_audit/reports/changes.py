"""The look back over a span, prepared once for the terminal, the page and JSON."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from typing import Final

from coverage_audit.audits.looking_back import LookedBack
from coverage_audit.estate.changes import ChangeKind, EstateChange, diff
from coverage_audit.estate.declared import Part
from coverage_audit.estate.model import Estate
from coverage_audit.estate.tightening import Asked, asked_otherwise
from coverage_audit.judgement.verdict import Answer, Conclusion
from coverage_audit.ledger.past_record import AuditDay, Incident, LookBack
from coverage_audit.reports.courses import DatasetCourse, dataset_courses
from coverage_audit.reports.days import DayState, Span, span_of, states_of_audits
from coverage_audit.reports.hardware_courses import (
    DriveCourse,
    NewFilesystem,
    RoomSum,
    VolumeCourse,
    drive_courses,
    new_filesystems,
    room_sums,
    volume_courses,
)
from coverage_audit.reports.nights_view import MissingNights, missing_nights
from coverage_audit.reports.trends import Counts, counted

ORDER: Final = (Part.DEVICE, Part.VOLUME, Part.DATASET, Part.COPY, Part.POLICY, Part.ESTATE)
"""The parts of an estate in the order in which they are told of."""


@dataclass(frozen=True, kw_only=True)
class IncidentTold:
    """An incident, how long it lasted (to the end of the look back, where it lasts), and how it ended, in words."""

    incident: Incident
    lasted: timedelta
    over: str


@dataclass(frozen=True, kw_only=True)
class Changes:
    """What changed. `declared` None: the estate of the begin was written for another version of this program.

    `states` and `counts` are of the whole estate, day by day; `room` is then and now.
    """

    looked: LookedBack
    span: Span
    states: tuple[DayState, ...]
    declared: tuple[EstateChange, ...] | None
    asked: tuple[Asked, ...]
    datasets: tuple[DatasetCourse, ...]
    drives: tuple[DriveCourse, ...]
    filesystems: tuple[NewFilesystem, ...]
    volumes: tuple[VolumeCourse, ...]
    room: tuple[RoomSum, RoomSum]
    incidents: tuple[IncidentTold, ...]
    missing: tuple[MissingNights, ...]

    @property
    def counts(self) -> Counts:
        """How many days proved what."""
        return counted(self.states)


def changes_of(looked: LookedBack, now: datetime) -> Changes:
    """Prepare what was looked back on."""
    span = span_of(looked.back, looked.now, now)
    volumes, known = volume_courses(looked), _known_throughout(looked.back)
    return Changes(
        looked=looked,
        span=span,
        states=states_of_audits(known.audits, span),
        declared=None if looked.then is None else _declared(looked.then, looked.now),
        asked=() if looked.then is None else asked_otherwise(looked.then, looked.now),
        datasets=dataset_courses(looked, span),
        drives=tuple(drive for drive in drive_courses(looked) if drive.changed),
        filesystems=new_filesystems(looked.shown),
        volumes=volumes,
        room=room_sums(looked, volumes),
        incidents=_incidents(looked),
        missing=missing_nights(known, span, span.all()),
    )


def _declared(then: Estate, now: Estate) -> tuple[EstateChange, ...]:
    """Return what is declared otherwise, part by part; what policies ask is told of by itself."""
    told = [one for one in diff(then, now) if (one.part, one.kind) != (Part.POLICY, ChangeKind.CHANGED)]
    return tuple(sorted(told, key=lambda one: ORDER.index(Part(one.part))))


def _known_throughout(back: LookBack) -> LookBack:
    """Return a look back that knows of an audit before its first day: every day without one proved nothing."""
    before = AuditDay(
        started=back.since, finished=back.since, conclusion=Conclusion.UNVERIFIED, whole=True, rehearsal=False
    )
    return replace(back, audits=(before, *back.audits))


def _incidents(looked: LookedBack) -> tuple[IncidentTold, ...]:
    """Return what was open at any moment: what failed before what was not observed, each the longest first."""
    until = looked.back.until
    told = [
        IncidentTold(incident=one, lasted=max((one.ended or until) - one.began, timedelta(0)), over=_over(one))
        for one in looked.back.incidents
    ]
    return tuple(
        sorted(told, key=lambda one: (one.incident.worst is not Answer.NONCONFORMITY, -one.lasted, one.incident.began))
    )


def _over(one: Incident) -> str:
    if one.ended is None:
        return "lasts"
    if one.recovered:
        return "recovered"
    return "waived" if one.ended_as is Answer.WAIVED else "not asked for any more"

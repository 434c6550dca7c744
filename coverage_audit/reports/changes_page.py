"""The look back as a page: one self-contained file that needs no scripts and asks for nothing.

Its first screen answers how the estate did over the span, and what is not there any more or is new; below stand every
dataset, the room, the incidents by how long they lasted, and every change as it was noted.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime
from itertools import groupby
from typing import Final

from coverage_audit.estate.changes import said
from coverage_audit.estate.declared import Part
from coverage_audit.estate.units import format_duration
from coverage_audit.judgement.verdict import Answer, Finding
from coverage_audit.reports.changes import ORDER, Changes, IncidentTold
from coverage_audit.reports.changes_words import (
    asked_turns,
    by_how_much,
    change_said,
    first_sentence,
    growth_said,
    hardware_said,
    life_said,
    room_said,
    since_said,
    size_said,
    volume_life_said,
    volume_said,
)
from coverage_audit.reports.courses import DatasetCourse
from coverage_audit.reports.days import Span
from coverage_audit.reports.hardware_courses import VolumeCourse
from coverage_audit.reports.page_words import Clock, Moment
from coverage_audit.reports.pictures import Strip, months, strip
from coverage_audit.reports.templating import render
from coverage_audit.reports.trends import Counts

_FIRST: Final = 12
"""So many incidents, and so many changes of one kind, stand open; the rest folds away behind them."""
_MANY: Final = 24
"""With more datasets than this, those that did best fold away."""
_HEADINGS: Final = {
    Part.DEVICE: "Devices",
    Part.VOLUME: "Volumes",
    Part.DATASET: "Datasets",
    Part.COPY: "Copies",
    Part.POLICY: "Policies",
    Part.ESTATE: "The estate itself",
}


@dataclass(frozen=True, kw_only=True)
class Figure:
    """What was, and on which day it was seen (None: it was not)."""

    text: str
    day: date | None


@dataclass(frozen=True, kw_only=True)
class CourseView:
    """One dataset, or one volume (which has no days)."""

    name: str
    formerly: str
    life: str
    then: Figure
    now: Figure
    change: str
    counts: Counts | None = None
    strip: Strip | None = None


@dataclass(frozen=True, kw_only=True)
class IncidentView:
    """One incident."""

    finding: Finding
    dataset: str | None
    worst: Answer
    began: Moment
    ended: Moment | None
    lasted: str
    over: str


def changes_page(changes: Changes, now: datetime) -> str:
    """Make the page, at `now`. Raises ReportError where the template cannot be filled."""
    looked, span = changes.looked, changes.span
    clock = Clock(zone=looked.now.time_zone, now=now)
    then, present = changes.room
    return render(
        "changes.html",
        estate=looked.now,
        made=clock.moment(now),
        sentence=first_sentence(changes),
        basis=since_said(changes),
        first=_FIRST,
        span=span,
        months=months(span),
        counts_of_estate=changes.counts,
        strip_of_estate=strip(changes.states),
        unreadable=changes.declared is None,
        groups=_groups(changes),
        asked=tuple((asked.direction, asked_turns(asked)) for asked in changes.asked),
        hardware=tuple((span.of(at), text) for at, text in hardware_said(changes)),
        many=_MANY,
        datasets=tuple(_dataset(course, span) for course in _in_order(changes.datasets)),
        volumes=tuple(_volume(course, span) for course in changes.volumes),
        room_then=room_said(then),
        room_now=room_said(present),
        room_change=by_how_much(present.capacity - then.capacity) if then.shown and present.shown else "not known",
        incidents=tuple(_incident(told, clock) for told in changes.incidents),
        missing_nights=changes.missing,
        events=_events(changes, clock),
        events_count=len(looked.back.events),
    )


def _groups(changes: Changes) -> Sequence[tuple[str, Sequence[str]]]:
    """Return the declared changes by what they are changes of."""
    looked = changes.looked
    told: dict[Part, list[str]] = {part: [] for part in ORDER}
    for change in changes.declared or ():
        told[Part(change.part)].append(change_said(change, looked.then, looked.now))
    return [(_HEADINGS[part], texts) for part, texts in told.items() if texts]


def _events(changes: Changes, clock: Clock) -> Sequence[tuple[Moment, date, Sequence[str]]]:
    """Return what was noted, the latest first, with what was noted at one moment together."""
    told = groupby(reversed(changes.looked.back.events), key=lambda event: event.at)
    return [(clock.moment(at), changes.span.of(at), [said(event.change) for event in some]) for at, some in told]


def _in_order(courses: Sequence[DatasetCourse]) -> Sequence[DatasetCourse]:
    """Return datasets as declared; many of them in the order of their days that failed, and that proved nothing."""
    if len(courses) <= _MANY:
        return courses
    return sorted(courses, key=lambda one: (-one.counts.nonconforming, -one.counts.without_proof))


def _dataset(course: DatasetCourse, span: Span) -> CourseView:
    return CourseView(
        name=course.dataset,
        formerly=", ".join(course.names[1:]),
        life=life_said(course),
        then=Figure(text=size_said(course.first), day=span.of(course.first.at) if course.first else None),
        now=Figure(text=size_said(course.last), day=span.of(course.last.at) if course.last else None),
        change=growth_said(course),
        counts=course.counts,
        strip=strip(course.states),
    )


def _volume(course: VolumeCourse, span: Span) -> CourseView:
    first, last = course.first, course.last
    known = first is not None and last is not None
    grown = (last.capacity or 0) - (first.capacity or 0) if first and last else 0
    return CourseView(
        name=str(course.volume),
        formerly="",
        life=volume_life_said(course),
        then=Figure(text=volume_said(first), day=span.of(first.at) if first else None),
        now=Figure(text=volume_said(last), day=span.of(last.at) if last else None),
        change=by_how_much(grown) if known else "not known",
    )


def _incident(told: IncidentTold, clock: Clock) -> IncidentView:
    one = told.incident
    return IncidentView(
        finding=one.finding,
        dataset=one.dataset,
        worst=one.worst,
        began=clock.moment(one.began),
        ended=clock.maybe(one.ended),
        lasted=format_duration(told.lasted),
        over=told.over,
    )

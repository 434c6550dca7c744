"""Incidents: findings from their begin to their end, put together from how they changed."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, replace
from datetime import datetime
from itertools import groupby
from operator import attrgetter
from typing import Any, Final

from sqlalchemy import Connection, Row, func, select, union_all

from coverage_audit.estate.former import Lineage
from coverage_audit.estate.model import DatasetId
from coverage_audit.judgement.verdict import Answer, Finding
from coverage_audit.ledger.mapping import load_finding
from coverage_audit.ledger.past_record import Incident
from coverage_audit.ledger.record import TransitionKind
from coverage_audit.ledger.tables import AUDITS, FINDINGS, TRANSITIONS

_ENDED: Final = TransitionKind.ENDED.value
_WORST: Final = Answer.NONCONFORMITY.value

_AT_ONCE: Final = 500
"""So many rows are asked for by number in one question."""


@dataclass(frozen=True, kw_only=True)
class _Course:
    """One incident as its transitions tell it: `told` is the one at which it was worst last, `end` its last."""

    told: Row[Any]
    end: Row[Any] | None


def incidents(connection: Connection, since: datetime, until: datetime, lineage: Lineage) -> tuple[Incident, ...]:
    """Return what was open at any moment after `since` until `until`, in the order in which it began."""
    lasting = {row.finding: row for row in connection.execute(select(FINDINGS).where(FINDINGS.c.since <= until))}
    courses = list(_courses(_transitions(connection, since, until)))
    worst = {course.told.finding: course.told for course in courses if course.end is None}
    over = [course for course in courses if course.end is not None and course.end.at > since]
    bodies = _bodies(connection, (course.told.id for course in over))
    found = [_lasting(row, worst.get(name)) for name, row in lasting.items()]
    found += [
        _over(course.told, course.end, bodies)
        for course in over
        if course.end is not None and course.end.since <= until
    ]
    now_called = {former: names[0] for names in lineage.datasets for former in names}
    named = (replace(one, dataset=now_called.get(one.dataset, one.dataset)) if one.dataset else one for one in found)
    return tuple(sorted(named, key=lambda one: (one.began, one.finding.id)))


def _transitions(connection: Connection, since: datetime, until: datetime) -> Iterable[Row[Any]]:
    """Return the changes of all findings that may have been open in the span, by finding, in order.

    None from before the first such incident of a finding: all changes of one bear its begin, or (of several that were
    renamed into one) a later one.
    """
    table = TRANSITIONS.c
    ended = (
        select(table.finding, table.since)
        .join(AUDITS, AUDITS.c.id == table.audit)
        .where(table.kind == _ENDED, AUDITS.c.started > since, table.since <= until)
    )
    lasting = select(FINDINGS.c.finding, FINDINGS.c.since).where(FINDINGS.c.since <= until)
    either = union_all(ended, lasting).subquery()
    first = select(either.c.finding, func.min(either.c.since).label("since")).group_by(either.c.finding).subquery()
    return connection.execute(
        select(table.id, table.finding, table.dataset, table.kind, table.answer, table.since)
        .add_columns(AUDITS.c.started.label("at"))
        .join(AUDITS, AUDITS.c.id == table.audit)
        .join(first, (first.c.finding == table.finding) & (table.since >= first.c.since))
        .order_by(table.finding, table.id)
    )


def _courses(rows: Iterable[Row[Any]]) -> Iterator[_Course]:
    for _, changes in groupby(rows, key=attrgetter("finding")):
        told: Row[Any] | None = None
        for change in changes:
            if change.kind != _ENDED:
                worse = told is None or _badness(change) >= _badness(told)
                told = change if worse else told
            elif told is not None:
                yield _Course(told=told, end=change)
                told = None
        if told is not None:
            yield _Course(told=told, end=None)


def _badness(row: Row[Any]) -> bool:
    return bool(row.answer == _WORST)


def _lasting(row: Row[Any], worst: Row[Any] | None) -> Incident:
    return Incident(
        finding=load_finding(row.body),
        dataset=None if row.dataset is None else DatasetId(row.dataset),
        began=row.since,
        ended=None,
        worst=Answer(row.answer if worst is None else worst.answer),
    )


def _over(told: Row[Any], end: Row[Any], bodies: Mapping[int, Finding]) -> Incident:
    _, _, subject = told.finding.partition(":")
    return Incident(
        finding=replace(bodies[told.id], subject=subject),  # it may have been renamed since it was written
        dataset=None if end.dataset is None else DatasetId(end.dataset),
        began=end.since,
        ended=max(end.at, end.since),  # the clock may have gone back
        worst=Answer(told.answer),
        ended_as=None if end.answer is None else Answer(end.answer),
    )


def _bodies(connection: Connection, numbers: Iterable[int]) -> dict[int, Finding]:
    found: dict[int, Finding] = {}
    wanted = list(numbers)
    for first in range(0, len(wanted), _AT_ONCE):
        some = wanted[first : first + _AT_ONCE]
        rows = connection.execute(select(TRANSITIONS.c.id, TRANSITIONS.c.body).where(TRANSITIONS.c.id.in_(some)))
        found |= {row.id: load_finding(row.body) for row in rows}
    return found

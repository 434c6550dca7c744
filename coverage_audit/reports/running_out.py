"""What will run out next: what is due by a date that follows from what is declared, observed or measured."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Final

from coverage_audit.estate.access import ShelfAccess
from coverage_audit.estate.model import Device, DeviceId, Estate, PolicyId
from coverage_audit.evidence.visible import visible
from coverage_audit.judgement.verdict import Answer, JudgedCopy, JudgedDataset, JudgedEstate
from coverage_audit.judgement.wording import duration, joined, last_day, shortened
from coverage_audit.reckoning.service_life import SERVICE_LIFE
from coverage_audit.reports.ages import age_in_years, life_ends
from coverage_audit.reports.filling import full_next
from coverage_audit.reports.instants import short_span

POINTS_AHEAD: Final = timedelta(days=60)
WAIVERS_AHEAD: Final = timedelta(days=60)
HARDWARE_AHEAD: Final = timedelta(days=90)
_NAMED: Final = 3


@dataclass(frozen=True, kw_only=True)
class Due:
    """One thing to do by a date, `day` in words. `over`: the date has passed. `by` None: it is due at once."""

    by: date | None
    day: str
    over: bool
    within: str
    what: str
    why: str


def due_next(judged: JudgedEstate, estate: Estate, now: datetime) -> tuple[Due, ...]:
    """Return what is due, the first first: drives to plug in, full volumes, last points, waivers, old hardware."""
    found = [*_drives(judged, estate, now), *_rooms(judged, estate, now), *_points(judged, estate, now)]
    found += _waivers(judged, estate, now)
    return (*_by_date(found), *_by_date(_hardware(estate, now)))  # what is old will be old for long: it comes last


def _by_date(found: Iterable[Due]) -> list[Due]:
    return sorted(found, key=lambda due: (due.by or date.min, due.what))


def _due(by: date, now: datetime, estate: Estate, what: str, why: str) -> Due:
    days = (by - now.astimezone(estate.time_zone).date()).days
    return Due(by=by, day=f"{by:%a} {by}", over=days < 0, within=_within(days), what=what, why=why)


def _within(days: int) -> str:
    if days == 0:
        return "today"
    if days in {1, -1}:
        return "tomorrow" if days > 0 else "yesterday"
    span = short_span(timedelta(days=abs(days)))
    return f"in {span}" if days > 0 else f"{span} ago"


def _drives(judged: JudgedEstate, estate: Estate, now: datetime) -> Iterator[Due]:
    """Name each shelf drive with the day after which the first of its copies is older than it may be."""
    for device in estate.devices:
        if not isinstance(device.access, ShelfAccess):
            continue
        ends: dict[str, datetime | None] = {}
        for dataset, copy in _on(judged, device):
            ends[dataset.id] = _good_until(dataset, copy, estate)
        known = {name: end for name, end in ends.items() if end is not None}
        if known:
            first = min(known.values())
            names = [name for name, end in known.items() if end.date() == first.date()]
            by = first.astimezone(estate.time_zone).date()
            why = f"its copy of {_listed(names)} is older than its `max_age` after that day"
            yield _due(by, now, estate, f"Plug in {device.id}", why)
        if len(known) < len(ends):
            names = [name for name, end in ends.items() if end is None]
            why = f"no copy of {_listed(names)} is proven on it yet"
            yield Due(by=None, day="now", over=True, within="", what=f"Plug in {device.id}", why=why)


def _rooms(judged: JudgedEstate, estate: Estate, now: datetime) -> Iterator[Due]:
    for full in full_next(judged, estate, now):
        by = full.at.astimezone(estate.time_zone).date()
        yield _due(by, now, estate, f"{full.volume} is full at its present pace", full.why)


def _points(judged: JudgedEstate, estate: Estate, now: datetime) -> Iterator[Due]:
    """Name each recovery point that goes soon and is the last to hold a day, week, month or year that is to be kept."""
    for dataset in judged.datasets:
        for going in dataset.going:
            if going.lost and going.at - now <= POINTS_AHEAD:
                by = going.at.astimezone(estate.time_zone).date()
                slots = _listed([str(slot) for slot in going.lost])
                why = f"all that is held of {slots}; that copy deletes at the age of {duration(going.deleted_at)}"
                yield _due(by, now, estate, f"{dataset.id} loses “{visible(going.name)}” on {going.address}", why)


def _on(judged: JudgedEstate, device: Device) -> Iterator[tuple[JudgedDataset, JudgedCopy]]:
    names: set[DeviceId] = {device.id, *device.formerly}
    for dataset in judged.datasets:
        for copy in dataset.copies:
            if copy.address.volume.device in names:
                yield dataset, copy


def _good_until(dataset: JudgedDataset, copy: JudgedCopy, estate: Estate) -> datetime | None:
    """Return until when a copy is young enough, by what it brings back and by when it was seen; None: it never was."""
    policies: Mapping[PolicyId, timedelta] = {policy.id: policy.max_age for policy in estate.policies}
    limit = copy.evidence.copy.max_age or policies.get(PolicyId(dataset.policy))
    seen = [at for at in (copy.recovery_point, copy.evidence.tree_at) if at is not None]
    return min(seen) + limit if limit and copy.recovery_point is not None else None


def _waivers(judged: JudgedEstate, estate: Estate, now: datetime) -> Iterator[Due]:
    findings = (*judged.findings, *(each for dataset in judged.datasets for each in dataset.findings))
    for finding in findings:
        acceptance = finding.acceptance
        if finding.answer is Answer.WAIVED and acceptance and acceptance.until - now <= WAIVERS_AHEAD:
            by = date.fromisoformat(last_day(acceptance.until, estate.time_zone))
            why = f"given by {acceptance.who}: “{acceptance.why}”; after that day it counts again"
            yield _due(by, now, estate, f"The waiver of {finding.id} ends", why)


def _hardware(estate: Estate, now: datetime) -> Iterator[Due]:
    today = now.astimezone(estate.time_zone).date()
    for device in estate.devices:
        if device.in_service is None or life_ends(device.in_service) - today > HARDWARE_AHEAD:
            continue
        by = life_ends(device.in_service)
        age = age_in_years(device.in_service, today)
        why = f"in service for {age}, since {device.in_service}; usual are {SERVICE_LIFE} years"
        comes = "is past" if by <= today else "reaches"
        yield _due(by, now, estate, f"{device.id} {comes} its usual service life", why)


def _listed(names: list[str]) -> str:
    return joined(shortened(names, _NAMED))

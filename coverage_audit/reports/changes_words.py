"""The sentences of a look back: what a change of the estate, of hardware or of what is asked is called."""

from __future__ import annotations

from datetime import date, datetime

from coverage_audit.estate.changes import ChangeKind, EstateChange, said
from coverage_audit.estate.declared import Part
from coverage_audit.estate.model import Estate, SiteId
from coverage_audit.estate.tightening import Asked, Turn
from coverage_audit.estate.units import format_size
from coverage_audit.judgement.wording import files, so_many
from coverage_audit.ledger.past_record import DatasetDay, VolumeDay
from coverage_audit.reports.changes import Changes
from coverage_audit.reports.courses import DatasetCourse
from coverage_audit.reports.hardware_courses import DriveCourse, RoomSum, VolumeCourse
from coverage_audit.reports.trends import Counts


def first_sentence(changes: Changes) -> str:
    """Say how the estate did, in one sentence."""
    counts, days = changes.counts, changes.span.days
    if not counts.known - counts.no_audit:
        return f"No audit of the whole estate in {so_many(days, 'day')}: nothing is known of them."
    if days == 1:
        return f"The one day {in_counts(counts).removeprefix('1 ')}."
    if counts.conforming == days:
        return f"All {so_many(days, 'day')} were conforming."
    return f"Of {so_many(days, 'day')} {in_counts(counts)}."


def in_counts(counts: Counts) -> str:
    """Say how many days proved what, the good ones first."""
    told = (
        (counts.conforming, "conforming"),
        (counts.nonconforming, "nonconforming"),
        (counts.unverified, "unverified"),
    )
    parts = [f"{number} {'was' if number == 1 else 'were'} {word}" for number, word in told if number]
    if counts.no_audit:
        parts.append(f"{counts.no_audit} had no audit")
    return ", ".join(parts)


def change_said(change: EstateChange, then: Estate | None, now: Estate) -> str:
    """Say one declared change; a device that stands at another site was carried there."""
    sites = [detail for detail in change.details if detail.what == "site"]
    if change.part != Part.DEVICE or change.kind is not ChangeKind.CHANGED or not sites or then is None:
        return said(change)
    (moved,) = sites
    before, after = _site(then, moved.before), _site(now, moved.now)
    others = tuple(detail for detail in change.details if detail is not moved)
    more = f"; {said(EstateChange(kind=change.kind, part=change.part, name=change.name, details=others))}"
    return f"{change.subject} moved from {before} to {after}" + (more if others else "")


def _site(estate: Estate, name: str | None) -> str:
    return estate.site(SiteId(name)).name if name else "nowhere"


def asked_said(asked: Asked) -> str:
    """Say what is asked otherwise of one subject, and which way it went."""
    return f"{asked.direction}: {asked_turns(asked)}"


def asked_turns(asked: Asked) -> str:
    """Say what is asked otherwise of one subject."""
    under = [f"under policy {asked.under[0]} before, {asked.under[1]} now"] if asked.under else []
    return f"{asked.part} {asked.name}: {', '.join([*under, *(_turn(turn) for turn in asked.turns)])}"


def _turn(turn: Turn) -> str:
    return f"{turn.what} {turn.before or 'not asked'}, now {turn.now or 'not asked'}"


def hardware_said(changes: Changes) -> list[tuple[datetime, str]]:
    """Say what happened to drives and filesystems, in the order of time, each with the audit that tells it."""
    told = [one for drive in changes.drives for one in _drive_said(drive)]
    told += [
        (found.at, f"{found.volume} has another filesystem: {found.before} before, {found.now} now")
        for found in changes.filesystems
    ]
    return sorted(told)


def _drive_said(drive: DriveCourse) -> list[tuple[datetime, str]]:
    first, last = drive.stays[0], max(drive.stays, key=lambda stay: stay.last)
    told = [(drive.came, f"drive {drive.serial} came, under {first.volume}")] if drive.came else []
    told += [(at, f"drive {drive.serial} moved from {left} to {to}") for left, to, at in drive.moved]
    if drive.went:
        told.append((drive.went, f"drive {drive.serial} was seen for the last time, under {last.volume}"))
    return told


def size_said(day: DatasetDay | None) -> str:
    """Say how large an original was."""
    if day is None or day.files is None or day.bytes is None:
        return "not seen"
    return f"{files(day.files)}, {format_size(day.bytes)}"


def growth_said(course: DatasetCourse) -> str:
    """Say by how much an original grew or shrank."""
    first, last = course.first, course.last
    if first is None or last is None or first.bytes is None or last.bytes is None:
        return "not known"
    return by_how_much(last.bytes - first.bytes) + (
        f", {_more_files(first, last)}" if first.files != last.files else ""
    )


def _more_files(first: DatasetDay, last: DatasetDay) -> str:
    change = (last.files or 0) - (first.files or 0)
    return f"{files(abs(change))} {'more' if change > 0 else 'fewer'}"


def by_how_much(change: int) -> str:
    """Say a change in bytes."""
    if not change:
        return "as large as before"
    return f"{format_size(abs(change))} {'more' if change > 0 else 'less'}"


def room_said(room: RoomSum) -> str:
    """Say how much room there is on several volumes."""
    of = "" if room.shown == room.volumes else f" (shown by {room.shown} of {room.volumes} volumes)"
    return f"{format_size(room.used)} used of {format_size(room.capacity)}{of}" if room.shown else "not shown"


def volume_said(day: VolumeDay | None) -> str:
    """Say how much room there was on one volume."""
    if day is None or day.capacity is None or day.free is None:
        return "not shown"
    return f"{format_size(day.capacity - day.free)} used of {format_size(day.capacity)}"


def volume_life_said(course: VolumeCourse) -> str:
    """Say whether a volume came or went."""
    if course.declared_then == course.declared_now:
        return "" if course.declared_now else "came and went"
    return "came" if course.declared_now else "went"


def life_said(course: DatasetCourse) -> str:
    """Say when a dataset began and ended, where that was in the span."""
    told = [f"born {course.born}"] if course.born else []
    if course.ended:
        told.append(f"ended {course.ended}")
    return ", ".join(told)


def since_said(changes: Changes) -> str:
    """Say which days this is about, and when the ledger began after what was asked for."""
    span = changes.span
    told = f"From {span.first} to {span.last}, in the days of {changes.looked.now.time_zone.key}."
    first = changes.looked.first_audit
    if first is None:
        return told
    return f"Since the first audit on {_day(first, changes)}: the ledger knows nothing before it. {told}"


def _day(instant: datetime, changes: Changes) -> date:
    return changes.span.of(instant)

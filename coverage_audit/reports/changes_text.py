"""The look back as text for a terminal."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Final

from coverage_audit.estate.changes import said
from coverage_audit.estate.units import format_duration
from coverage_audit.judgement.wording import when
from coverage_audit.reports.changes import Changes, IncidentTold
from coverage_audit.reports.changes_words import (
    asked_said,
    change_said,
    first_sentence,
    growth_said,
    hardware_said,
    in_counts,
    life_said,
    room_said,
    since_said,
    size_said,
    volume_life_said,
    volume_said,
)
from coverage_audit.reports.plain import Paper

_INCIDENTS: Final = 40
"""So many incidents are told one by one; a year of a flapping box has hundreds."""


def changes_text(changes: Changes, *, width: int, colour: bool) -> str:
    """Write the look back, `width` columns wide, ending with a newline."""
    paper = Paper(width=width, colour=colour)
    first, *rest = paper.wrapped(f"{changes.looked.now.name}: {first_sentence(changes)}")
    lines = [
        paper.styled(first, "heading"),
        *rest,
        *paper.wrapped(since_said(changes)),
        *_estate(changes, paper),
        *_hardware(changes, paper),
        *_coverage(changes, paper),
        *_sizes(changes, paper),
        *_room(changes, paper),
        *_incidents(changes, paper),
        *_missing(changes, paper),
        *_events(changes, paper),
    ]
    return "\n".join(lines) + "\n"


def _estate(changes: Changes, paper: Paper) -> Iterator[str]:
    yield from paper.heading("What is declared otherwise than at the begin")
    looked = changes.looked
    if changes.declared is None:
        yield from paper.wrapped("The estate of the begin was written for another version and cannot be read back.")
        return
    for change in changes.declared:
        yield from paper.wrapped(change_said(change, looked.then, looked.now), hanging=2)
    if not changes.declared:
        yield "Nothing."
    if changes.asked:
        yield from paper.heading("What is asked otherwise")
    for asked in changes.asked:
        yield from paper.wrapped(asked_said(asked), hanging=2)


def _hardware(changes: Changes, paper: Paper) -> Iterator[str]:
    told = hardware_said(changes)
    if told:
        yield from paper.heading("Drives and filesystems, as the boxes showed them")
    for at, text in told:
        yield from paper.wrapped(f"{changes.span.of(at)}  {text}", hanging=12)


def _coverage(changes: Changes, paper: Paper) -> Iterator[str]:
    yield from paper.heading("How each dataset did, in days")
    for course in changes.datasets:
        life = life_said(course)
        told = in_counts(course.counts) or "no day is known"
        yield from paper.wrapped(f"{course.dataset}{f' ({life})' if life else ''}: {told}", hanging=2)


def _sizes(changes: Changes, paper: Paper) -> Iterator[str]:
    yield from paper.heading("How large the originals were, and are")
    for course in changes.datasets:
        if course.first is None or course.last is None:
            yield from paper.wrapped(f"{course.dataset}: not seen", hanging=2)
            continue
        then = f"{size_said(course.first)} on {changes.span.of(course.first.at)}"
        now = f"{size_said(course.last)} on {changes.span.of(course.last.at)}"
        yield from paper.wrapped(f"{course.dataset}: {growth_said(course)}: {then}; {now}", hanging=2)


def _room(changes: Changes, paper: Paper) -> Iterator[str]:
    then, now = changes.room
    yield from paper.heading("Room, then and now")
    yield from paper.wrapped(f"all volumes: {room_said(then)}; now {room_said(now)}", hanging=2)
    for course in changes.volumes:
        life = volume_life_said(course)
        seen = f"{volume_said(course.first)}; now {volume_said(course.last)}" if course.first else "not shown"
        yield from paper.wrapped(f"{course.volume}{f' ({life})' if life else ''}: {seen}", hanging=2)


def _incidents(changes: Changes, paper: Paper) -> Iterator[str]:
    yield from paper.heading(f"Incidents ({len(changes.incidents)}), the longest first")
    if not changes.incidents:
        yield "None."
    for told in changes.incidents[:_INCIDENTS]:
        yield from _incident(told, changes, paper)
    if len(changes.incidents) > _INCIDENTS:
        yield f"and {len(changes.incidents) - _INCIDENTS} more, in --html and --json"


def _incident(told: IncidentTold, changes: Changes, paper: Paper) -> Iterator[str]:
    one, zone = told.incident, changes.looked.now.time_zone
    end = f"{told.over} {when(one.ended, zone)}" if one.ended else "lasts"
    yield from paper.worded(
        one.worst, f"{one.dataset or 'the estate itself'}: {format_duration(told.lasted)}", indent=0, column=16
    )
    yield from paper.wrapped(one.finding.message, indent=2)
    yield from paper.wrapped(f"{when(one.began, zone)}, {end}  [{one.finding.id}]", indent=2)


def _missing(changes: Changes, paper: Paper) -> Iterator[str]:
    if changes.missing:
        yield from paper.heading("Nights without an audit of the whole estate")
    for found in changes.missing:
        days = str(found.first) if found.count == 1 else f"{found.first} to {found.last}, {found.count} nights"
        yield from paper.wrapped(f"{days}: {found.why}", hanging=2)


def _events(changes: Changes, paper: Paper) -> Iterator[str]:
    if changes.looked.back.events:
        yield from paper.heading("Every change, as it was noted")
    for event in changes.looked.back.events:
        yield from paper.wrapped(f"{changes.span.of(event.at)}  {said(event.change)}", hanging=12)

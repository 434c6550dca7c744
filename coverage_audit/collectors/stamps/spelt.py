"""One name read by the usual spellings, wherever in it the time stands."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime, time, timedelta, timezone

from coverage_audit.collectors.stamps.heads import Head, heads
from coverage_audit.collectors.stamps.local_time import NoPointError, Span, Zone, days, instant, local_instant
from coverage_audit.collectors.stamps.tails import Tail, clock_after, could_be_counted, zone_after


@dataclass(frozen=True, kw_only=True)
class Spelt:
    """What a name means and in which form it says so.

    `perhaps_zone`: its figures for the time could as well be a zone; `countable`: names of this form can have it so.
    """

    span: Span
    form: str
    perhaps_zone: bool = False
    countable: bool = False
    before: str = ""


def read(name: str, zone: Zone) -> Spelt:
    """Read the one time that a name says; of a date and its time elsewhere in the name, the narrower stands for both.

    Raises NoPointError where it says none, or several, or what could mean two instants.
    """
    if any(letter.isdigit() and not letter.isascii() for letter in name):
        raise NoPointError("its digits are not the plain ones")
    found = [_spelt(name, head, zone) for head in heads(name)]
    if not found:
        raise NoPointError("it says no time in a usual spelling (a number that rotates is none): give a pattern")
    narrowest = min(found, key=lambda each: each.span.latest - each.span.earliest)
    if not all(each.span.holds(narrowest.span) for each in found):
        raise NoPointError("it says several times that differ: give a pattern")
    return narrowest


def _spelt(name: str, head: Head, zone: Zone) -> Spelt:
    before = name[: head.begin]
    if head.time is not None:
        tail = Tail(end=head.end) if head.utc else zone_after(name, head.end, Tail(end=head.end, clock=timedelta(0)))
        span = _span(head.time, tail, zone) if not head.utc else instant(head.time.replace(tzinfo=UTC))
        return Spelt(span=span, form=f"{head.form}{tail.form}", before=before)
    tail = clock_after(name, head.end) if head.open else Tail(end=head.end)
    form = f"{head.form}{tail.form}"
    if tail.clock is None:
        where = zone if tail.offset is None else timezone(tail.offset)
        return Spelt(span=days(head.day, head.length, where), form=form, before=before)
    wall = datetime.combine(head.day, time()) + tail.clock
    return Spelt(
        span=_span(wall, tail, zone),
        form=form,
        perhaps_zone=tail.perhaps_zone,
        countable=could_be_counted(tail),
        before=before,
    )


def _span(wall: datetime, tail: Tail, zone: Zone) -> Span:
    if tail.offset is None:
        return local_instant(wall, zone)
    return instant(wall.replace(tzinfo=timezone(tail.offset)))

"""Small values that the page prints: an instant with its age, a labelled text."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime
from zoneinfo import ZoneInfo

from coverage_audit.estate.changes import said
from coverage_audit.judgement.wording import age, when
from coverage_audit.ledger.record import EstateEvent
from coverage_audit.reports.instants import rfc3339


@dataclass(frozen=True, kw_only=True)
class Moment:
    """An instant as the page prints it: for people, for machines, and how long ago it was."""

    text: str
    machine: str
    ago: str


@dataclass(frozen=True, kw_only=True)
class EventView:
    """A change of the estate, in words."""

    at: Moment
    text: str


@dataclass(frozen=True, kw_only=True)
class Clock:
    """What instants are printed by: the estate's zone and the moment of the page."""

    zone: ZoneInfo
    now: datetime

    def moment(self, instant: datetime) -> Moment:
        """Return an instant as the page prints it."""
        return Moment(text=when(instant, self.zone), machine=rfc3339(instant) or "", ago=age(instant, self.now))

    def maybe(self, instant: datetime | None) -> Moment | None:
        """Return an instant as the page prints it, or None for none."""
        return None if instant is None else self.moment(instant)


def events_view(events: Iterable[EstateEvent], clock: Clock) -> tuple[EventView, ...]:
    """Return changes of the estate as the page prints them."""
    return tuple(EventView(at=clock.moment(event.at), text=said(event.change)) for event in events)

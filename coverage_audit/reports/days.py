"""The span that a page looks back over, day by day, in the estate's zone; and what each day of it proved.

A day without an audit proved nothing. Of several audits of one day the last one stands.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from enum import StrEnum
from typing import Final
from zoneinfo import ZoneInfo

from coverage_audit.estate.model import DatasetId, Estate
from coverage_audit.judgement.verdict import Conclusion
from coverage_audit.ledger.past_record import AuditDay, DatasetDay, LookBack

DAY: Final = timedelta(days=1)


class DayState(StrEnum):
    """What a day proved."""

    CONFORMING = "conforming"
    UNVERIFIED = "unverified"
    NONCONFORMING = "nonconforming"
    NO_AUDIT = "no audit"
    BEFORE = "before"  # before the first audit that is known


@dataclass(frozen=True, kw_only=True)
class Span:
    """The days from `first` to `last`, both among them."""

    first: date
    last: date
    zone: ZoneInfo

    @property
    def days(self) -> int:
        """How many days it has."""
        return (self.last - self.first).days + 1

    def all(self) -> tuple[date, ...]:
        """Return every day, in order."""
        return tuple(self.first + number * DAY for number in range(self.days))

    def of(self, instant: datetime) -> date:
        """Return the local date of an instant."""
        return instant.astimezone(self.zone).date()


def span_of(back: LookBack, estate: Estate, now: datetime) -> Span:
    """Return the days of a look back: to today, or to yesterday while today's audit is not due yet."""
    zone = estate.time_zone
    today = now.astimezone(zone).date()
    begun = {audit.started.astimezone(zone).date() for audit in back.audits}
    at = estate.schedule.audit
    due = at is not None and datetime.combine(today, at, zone) <= now
    last = today if today in begun or due else today - DAY
    return Span(first=min((back.since.astimezone(zone)).date() + DAY, last), last=last, zone=zone)


def states_of_audits(audits: Iterable[AuditDay], span: Span) -> tuple[DayState, ...]:
    """Return what each day's audits of the whole estate concluded."""
    return _states(((span.of(audit.started), audit.conclusion) for audit in audits if audit.whole), span)


def states_of_dataset(days: Iterable[DatasetDay], span: Span) -> tuple[DayState, ...]:
    """Return what each day's audits concluded of one dataset."""
    return _states(((span.of(day.at), day.conclusion) for day in days), span)


def _states(concluded: Iterable[tuple[date, Conclusion]], span: Span) -> tuple[DayState, ...]:
    last = dict(concluded)
    first = min(last, default=None)
    return tuple(_state(last.get(day), known=first is not None and day >= first) for day in span.all())


def _state(conclusion: Conclusion | None, *, known: bool) -> DayState:
    if conclusion is None:
        return DayState.NO_AUDIT if known else DayState.BEFORE
    return DayState(conclusion.value)


def days_by_dataset(back: LookBack, estate: Estate) -> Mapping[DatasetId, tuple[DatasetDay, ...]]:
    """Return each declared dataset's days, those under its former names among them, in the order of time."""
    present = {former: one.id for one in estate.datasets for former in one.formerly}
    present |= {one.id: one.id for one in estate.datasets}
    found: dict[DatasetId, list[DatasetDay]] = {one.id: [] for one in estate.datasets}
    for day in back.datasets:
        if day.dataset in present:
            found[present[day.dataset]].append(day)
    return {name: tuple(sorted(days, key=lambda day: day.at)) for name, days in found.items()}

"""The nights of a look back: what each concluded, and why there was none where there was none."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass, replace
from datetime import date

from coverage_audit.ledger.past_record import LookBack, NightOutcome, NightRecord
from coverage_audit.reports.days import DAY, DayState, Span, states_of_audits
from coverage_audit.reports.pictures import Strip, by_month, strip
from coverage_audit.reports.trends import Counts, counted

_UNKNOWN = "no audit is on record"


@dataclass(frozen=True, kw_only=True)
class MissingNights:
    """Nights in a row without an audit of the whole estate, and why, as far as it is known."""

    first: date
    last: date
    count: int
    why: str


@dataclass(frozen=True, kw_only=True)
class NightsOfMonth:
    """One month: its days as a strip, which begins at the day of the month `begins`, and how many proved what."""

    name: str
    begins: int
    strip: Strip
    counts: Counts


@dataclass(frozen=True, kw_only=True)
class NightsView:
    """All nights of the span. `since` None: no audit is on record."""

    months: tuple[NightsOfMonth, ...]
    missing: tuple[MissingNights, ...]
    counts: Counts
    since: date | None


def nights_view(back: LookBack, span: Span) -> NightsView:
    """Prepare the nights of a look back."""
    states, days = states_of_audits(back.audits, span), span.all()
    known = [day for day, state in zip(days, states, strict=True) if state is not DayState.BEFORE]
    return NightsView(
        months=tuple(
            NightsOfMonth(
                name=name,
                begins=days[numbers[0]].day,
                strip=strip([states[number] for number in numbers]),
                counts=counted([states[number] for number in numbers]),
            )
            for name, numbers in by_month(days)
            if any(states[number] is not DayState.BEFORE for number in numbers)
        ),
        missing=missing_nights(back, span, span.all()),
        counts=counted(states),
        since=known[0] if known else None,
    )


def missing_nights(back: LookBack, span: Span, among: Collection[date]) -> tuple[MissingNights, ...]:
    """Return the nights among these that had no audit, those in a row with one reason together."""
    reasons = _reasons(back.nights)
    found: list[MissingNights] = []
    for night, state in zip(span.all(), states_of_audits(back.audits, span), strict=True):
        if state is not DayState.NO_AUDIT or night not in among:
            continue
        why = reasons.get(night, _UNKNOWN)
        if found and found[-1].why == why and found[-1].last + DAY == night:
            found[-1] = replace(found[-1], last=night, count=found[-1].count + 1)
        else:
            found.append(MissingNights(first=night, last=night, count=1, why=why))
    return tuple(found)


def _reasons(nights: Iterable[NightRecord]) -> Mapping[date, str]:
    """Say of nights why they had no audit."""
    found: dict[date, str] = {}
    for night in nights:
        if night.missed_since is not None:
            for number in range(night.missed):
                # One that was begun and cut off is among those without audit, and has a reason of its own.
                found.setdefault(night.missed_since + number * DAY, "the auditor was off or asleep")
        if night.outcome is NightOutcome.FAILED:
            found[night.night] = f"it failed: {night.detail}" if night.detail else "it failed"
        elif night.outcome is NightOutcome.BUSY:
            found[night.night] = "another audit was at work until the next night was due"
        elif night.finished is None:
            found[night.night] = "it was begun and has not ended"
    return found

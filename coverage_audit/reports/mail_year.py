"""The year in the weekly mail: what the nights proved, and the most that no copy held."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from datetime import date

from coverage_audit.estate.model import DatasetId, Estate
from coverage_audit.estate.units import format_size
from coverage_audit.ledger.past_record import DatasetDay, LookBack
from coverage_audit.notices.message import Section
from coverage_audit.reports.days import DayState, Span, days_by_dataset, states_of_audits
from coverage_audit.reports.trends import Counts, counted
from coverage_audit.reports.year_picture import year_picture


def year_section(back: LookBack, estate: Estate, span: Span) -> Section:
    """Say what a look back shows, with its picture."""
    title = "The year"
    states = states_of_audits(back.audits, span)
    counts = counted(states)
    if not counts.known:
        return Section(title=title, notes=("No audit is on record.",), brief=False)
    exposed = _exposed(days_by_dataset(back, estate), states, span)
    notes = tuple(_said(counts, states, exposed, span))
    picture = year_picture(states, exposed, span, f"The year, {span.first} to {span.last}. {' '.join(notes)}")
    return Section(title=title, notes=notes, picture=picture, brief=False)


def _said(counts: Counts, states: Sequence[DayState], exposed: Sequence[int | None], span: Span) -> Iterator[str]:
    days = span.all()
    since = days[states.index(next(state for state in states if state is not DayState.BEFORE))]
    audited = counts.known - counts.no_audit
    none = f"; {counts.no_audit} had none and proved nothing" if counts.no_audit else ""
    yield f"{audited} of {counts.known} nights since {since} had an audit of the whole estate{none}."
    yield (
        f"{counts.conforming} days conforming, {counts.nonconforming} nonconforming, "
        f"{counts.without_proof} without proof."
    )
    known = [(value, day) for value, day in zip(exposed, days, strict=True) if value is not None]
    most, day = max(known, default=(None, None), key=lambda each: each[0] or 0)
    if most is None:
        yield "How much no copy held was not known on any day."
    elif most:
        yield f"Held by no copy: at most {format_size(most)}, on {day}."
    else:
        yield "Held by no copy: nothing on any day that could tell it."


def _exposed(
    datasets: Mapping[DatasetId, Iterable[DatasetDay]], states: Sequence[DayState], span: Span
) -> tuple[int | None, ...]:
    """Add up each day what no copy of any dataset held; None where no dataset could tell it, or no audit was."""
    totals: dict[date, int] = {}
    for days in datasets.values():
        found: dict[date, int] = {}
        for day in days:
            if day.exposed_bytes is not None:
                at = span.of(day.at)
                found[at] = max(found.get(at, 0), day.exposed_bytes)
        for at, value in found.items():
            totals[at] = totals.get(at, 0) + value
    none = {DayState.NO_AUDIT, DayState.BEFORE}
    return tuple(None if state in none else totals.get(day) for day, state in zip(span.all(), states, strict=True))

"""The year in the weekly mail: what the nights proved, and the most that no copy held."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from datetime import date

from coverage_audit.estate.model import DatasetId, Estate
from coverage_audit.estate.units import format_size
from coverage_audit.judgement.wording import so_many
from coverage_audit.ledger.past_record import DatasetDay, LookBack
from coverage_audit.notices.message import Section
from coverage_audit.reports.days import DayState, Span, days_by_dataset, states_of_audits
from coverage_audit.reports.trends import Counts, counted
from coverage_audit.reports.year_picture import Exposed, year_picture


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


def _said(counts: Counts, states: Sequence[DayState], exposed: Sequence[Exposed], span: Span) -> Iterator[str]:
    since = next(day for day, state in zip(span.all(), states, strict=True) if state is not DayState.BEFORE)
    none = f"; {counts.no_audit} had none and proved nothing" if counts.no_audit else ""
    audited = counts.known - counts.no_audit
    yield f"{audited} of {counts.known} nights since {since} had an audit of the whole estate{none}."
    yield (
        f"{counts.conforming} days conforming, {counts.nonconforming} nonconforming, "
        f"{counts.without_proof} without proof."
    )
    most = max(exposed, key=lambda each: each.bytes)
    unknown = sum(not each.known for each in exposed)
    held = (
        f"at most {format_size(most.bytes)}, on {most.day}" if most.bytes else "nothing on any day that could tell it"
    )
    of_some = f"; on {so_many(unknown, 'day')} it was not known of every dataset" if unknown else ""
    yield f"Held by no copy: {held}{of_some}."


def _exposed(
    datasets: Mapping[DatasetId, Sequence[DatasetDay]], states: Sequence[DayState], span: Span
) -> tuple[Exposed, ...]:
    """Add up for each day what no copy of any dataset held; of a dataset nothing is asked before it was first seen."""
    told = [_of_dataset(days, span) for days in datasets.values() if days]
    return tuple(
        Exposed(
            day=day,
            bytes=sum(days.get(day) or 0 for days in told),
            known=state is DayState.BEFORE
            or (state is not DayState.NO_AUDIT and all(days.get(day) is not None for days in told if min(days) <= day)),
        )
        for day, state in zip(span.all(), states, strict=True)
    )


def _of_dataset(days: Iterable[DatasetDay], span: Span) -> Mapping[date, int | None]:
    """Return the most that no copy held on each day of a dataset (None: no audit of the day could tell it)."""
    found: dict[date, int | None] = {}
    for day in days:
        at = span.of(day.at)
        values = [value for value in (found.get(at), day.exposed_bytes) if value is not None]
        found[at] = max(values, default=None)
    return found

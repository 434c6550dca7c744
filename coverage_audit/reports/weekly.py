"""The weekly page: one self-contained file that needs no scripts and asks for nothing.

Its first screen answers in this order: am I covered; what is not, since when, how much is at stake, what to do first;
what changed since last week; what will run out next. Below stand the year of every dataset and all evidence.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Final

from coverage_audit.estate.changes import EstateChange
from coverage_audit.estate.model import Estate
from coverage_audit.estate.units import format_duration
from coverage_audit.judgement.verdict import Conclusion, JudgedDataset, JudgedEstate, Standing
from coverage_audit.ledger.past_record import LookBack
from coverage_audit.reports.chart import BOUND, row_of, ticks
from coverage_audit.reports.days import days_by_dataset, span_of
from coverage_audit.reports.filling import filling_said
from coverage_audit.reports.lead import lead
from coverage_audit.reports.loss_cuts import CutsView, cuts_view, weakest_first
from coverage_audit.reports.nights_view import nights_view
from coverage_audit.reports.page_datasets import DatasetView, dataset_view, findings_view
from coverage_audit.reports.page_hardware import devices_view
from coverage_audit.reports.page_words import Clock
from coverage_audit.reports.pictures import months
from coverage_audit.reports.present import as_declared_now, max_ages
from coverage_audit.reports.rooms import SPANS, fullest_first, rooms_view
from coverage_audit.reports.running_out import due_next
from coverage_audit.reports.situation import situation, worst_first
from coverage_audit.reports.templating import render
from coverage_audit.reports.trends import TrendView, trend_view
from coverage_audit.reports.week import by_dataset, week_view
from coverage_audit.reports.worries import worries_view
from coverage_audit.scenarios.cutting import cuts_of
from coverage_audit.scenarios.material import material_of

_MANY: Final = 24
"""With more datasets than this, those that conform are folded away, and of the others those beyond it; so are long
tables."""
_FIRST: Final = 3
"""So many worries stand open at the top; the rest folds away behind them."""


@dataclass(frozen=True, kw_only=True)
class YearView:
    """One dataset: what stands in the audit, and how it did over the year."""

    view: DatasetView
    trend: TrendView


def weekly_page(  # noqa: PLR0913 - all that it tells
    judged: JudgedEstate | None,
    estate: Estate,
    back: LookBack,
    *,
    since: Mapping[str, datetime],
    week_from: datetime,
    now: datetime,
    unjudged: Sequence[EstateChange] = (),
) -> str:
    """Make the page of the week after `week_from`, at `now`, out of the newest whole audit and a year's look back.

    `since`: when each open finding began. `judged` None: there is no audit to tell of, and the page says so. Raises
    ReportError where a template cannot be filled.
    """
    clock = Clock(zone=estate.time_zone, now=now)
    if judged is None:
        return render("weekly_unknown.html", estate=estate, made=clock.moment(now))
    present, span = as_declared_now(judged, estate), span_of(back, estate, now)
    judged, summed = present.judged, situation(present.judged, since)
    ordered = worst_first(judged.datasets)
    rows = tuple(row_of(dataset, estate, now) for dataset in ordered)
    days = days_by_dataset(back, estate)
    years = tuple(
        YearView(view=_view(dataset, estate, since, clock), trend=trend_view(days[dataset.id], span))
        for dataset in ordered
    )
    shown, week = _open(ordered), week_view(judged, back, span, week_from, clock)
    nights, rooms = nights_view(back, span), rooms_view(back, estate, span, filling_said(judged, estate))
    return render(
        "weekly.html",
        judged=judged,
        lead=lead(present, now, back.nights, unjudged),
        summed=summed,
        worries=worries_view(summed, clock),
        first=_FIRST,
        many=_MANY,
        made=clock.moment(now),
        started=clock.moment(judged.started),
        finished=clock.moment(judged.finished),
        took=format_duration(judged.finished - judged.started),
        week=week,
        begun=by_dataset(week.begun),
        ended=by_dataset(week.ended),
        due=due_next(judged, estate, now),
        rooms=rooms,
        fullest=fullest_first(rooms),
        room_spans=SPANS,
        rows=rows,
        open=shown,
        more=_more(ordered[shown:]),
        rest_conforms=all(dataset.conclusion is Conclusion.CONFORMING for dataset in ordered[shown:]),
        ticks=ticks(),
        bound=BOUND,
        standings=tuple(Standing),
        span=span,
        months=months(span),
        years=years,
        nights=nights,
        findings=findings_view(judged.findings, since, clock),
        cuts=_cuts(judged, estate, now),
        devices=devices_view(judged, estate, now=now),
        gaps=tuple((gap, clock.moment(gap.at)) for gap in judged.gaps),
    )


def _open(ordered: tuple[JudgedDataset, ...]) -> int:
    """Return how many of the datasets, the worst first, stand open on the page."""
    if len(ordered) <= _MANY:
        return len(ordered)
    return min(sum(dataset.conclusion is not Conclusion.CONFORMING for dataset in ordered), _MANY)


def _more(folded: tuple[JudgedDataset, ...]) -> str:
    conform = sum(dataset.conclusion is Conclusion.CONFORMING for dataset in folded)
    said = "that conform" if conform == len(folded) else f"more, {conform} of which conform"
    return f"and {len(folded)} {said}"


def _view(dataset: JudgedDataset, estate: Estate, since: Mapping[str, datetime], clock: Clock) -> DatasetView:
    return dataset_view(dataset, max_ages(dataset, estate), estate, since, clock)


def _cuts(judged: JudgedEstate, estate: Estate, now: datetime) -> tuple[CutsView, ...]:
    material = material_of(estate, judged, at=now)
    return tuple(map(cuts_view, weakest_first([cuts_of(dataset) for dataset in material.datasets])))

"""The page: one self-contained file that needs no scripts and asks for nothing.

Its first screen answers in this order: am I covered; what is not, since when, how much is at stake, what to do first;
then how far back one would fall. Below stands everything that was observed.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import datetime
from typing import Final
from zoneinfo import ZoneInfo

from coverage_audit.audits.audit import Audited
from coverage_audit.estate.model import Estate
from coverage_audit.estate.units import format_duration
from coverage_audit.judgement.verdict import Conclusion, JudgedEstate, Standing
from coverage_audit.ledger.record import EstateEvent
from coverage_audit.reports.chart import BOUND, ChartRow, row_of, ticks
from coverage_audit.reports.page_datasets import dataset_view, findings_view
from coverage_audit.reports.page_hardware import devices_view
from coverage_audit.reports.page_words import Clock, events_view
from coverage_audit.reports.present import max_ages
from coverage_audit.reports.situation import situation, worst_first
from coverage_audit.reports.templating import render
from coverage_audit.reports.worries import worries_view

_MANY: Final = 24
"""With more datasets than this, the chart folds away those that conform."""
_FIRST: Final = 8
"""So many worries stand open at the top; the rest folds away behind them."""


def audit_page(
    judged: JudgedEstate,
    estate: Estate,
    *,
    since: Mapping[str, datetime],
    now: datetime,
    events: Sequence[EstateEvent] = (),
    number: int | None = None,
) -> str:
    """Make the page. `since`: when each open finding began; `now`: the moment the chart runs left from.

    `number` is the audit's in its ledger (None: it stands in none), `events` what changed in the estate since the audit
    before. Raises ReportError where the template cannot be filled.
    """
    clock = Clock(zone=ZoneInfo(judged.time_zone), now=now)
    ordered = worst_first(judged.datasets)
    rows = tuple(row_of(dataset, estate, now) for dataset in ordered)
    folded = _folded(rows)
    summed = situation(judged, since)
    worries = worries_view(summed, clock)
    return render(
        "audit.html",
        judged=judged,
        number=number,
        summed=summed,
        worries=worries[:_FIRST],
        later_worries=worries[_FIRST:],
        started=clock.moment(judged.started),
        took=format_duration(judged.finished - judged.started),
        rows=tuple(row for row in rows if row not in folded),
        folded=folded,
        ticks=ticks(),
        bound=BOUND,
        standings=tuple(Standing),
        datasets=tuple(dataset_view(dataset, max_ages(dataset, estate), estate, since, clock) for dataset in ordered),
        findings=findings_view(judged.findings, since, clock),
        devices=devices_view(judged, estate, now=now),
        events=events_view(events, clock),
        gaps=tuple((gap, clock.moment(gap.at)) for gap in judged.gaps),
    )


def audited_page(estate: Estate, audited: Audited) -> str:
    """Make the page of an audit as the ledger recorded it. Raises ReportError where the template cannot be filled."""
    recorded, judged = audited.recorded, audited.judged
    return audit_page(
        judged, estate, since=recorded.since, now=judged.finished, events=recorded.events, number=recorded.audit
    )


def _folded(rows: tuple[ChartRow, ...]) -> tuple[ChartRow, ...]:
    if len(rows) <= _MANY:
        return ()
    return tuple(row for row in rows if row.dataset.conclusion is Conclusion.CONFORMING)

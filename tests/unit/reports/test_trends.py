"""How a dataset did over the year, in words and figures."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta

from coverage_audit.judgement.verdict import Conclusion
from coverage_audit.ledger.past_record import DatasetDay
from coverage_audit.reports.days import span_of
from coverage_audit.reports.trends import trend_view
from tests.builders.judged import NOW
from tests.builders.past_days import SPAN, a_day, at
from tests.builders.year_of_the_station import FIRST, a_year_of_the_station

GB = 10**9


def sized(day: int, *, holds: int | None = 5 * GB, exposed: int | None = 0, hour: int = 4) -> DatasetDay:
    return replace(
        a_day(at(day, hour), Conclusion.CONFORMING if exposed == 0 else Conclusion.UNVERIFIED),
        files=None if holds is None else 50,
        bytes=holds,
        exposed_bytes=exposed,
        exposed_files=None if exposed is None else exposed // 10**8,
    )


def test_the_most_that_was_exposed_is_said_with_its_day() -> None:
    view = trend_view([sized(2), sized(3, exposed=2 * GB), sized(4, exposed=GB), sized(5, exposed=None)], SPAN)
    assert view.exposed_said == "at most 20 files (2.0 GB), on 2026-11-03"
    assert view.since == date(2026, 11, 2)


def test_what_was_never_known_is_not_said_to_be_nothing() -> None:
    assert trend_view([sized(2, exposed=None)], SPAN).exposed_said == "not known on any day"
    assert trend_view([sized(2)], SPAN).exposed_said == "nothing on any day that could tell it"
    assert trend_view([sized(2, holds=None)], SPAN).holds_said == "not seen on any day"
    (month,) = trend_view([sized(2, exposed=None, holds=None)], SPAN).months
    assert (month.exposed, month.holds) == ("not known", "not seen")


def test_an_exposure_of_the_morning_is_not_forgotten_by_the_audit_of_the_evening() -> None:
    view = trend_view([sized(2, exposed=3 * GB), sized(2, hour=20)], SPAN)
    assert view.exposed_said == "at most 30 files (3.0 GB), on 2026-11-02"
    assert view.counts.conforming == 1


def test_growth_is_said_as_it_was_seen() -> None:
    view = trend_view([sized(2), sized(3, holds=None), sized(6, holds=7 * GB)], SPAN)
    assert view.holds_said == "50 files, 5.0 GB on 2026-11-02, 50 files, 7.0 GB on 2026-11-06"
    assert trend_view([sized(2)], SPAN).holds_said == "50 files, 5.0 GB on 2026-11-02"


def test_a_dataset_that_was_never_audited_has_no_months() -> None:
    view = trend_view([], SPAN)
    assert (view.since, view.months, view.counts.known) == (None, (), 0)


def test_the_months_add_up_to_the_days_of_the_year() -> None:
    year = a_year_of_the_station()
    span = span_of(year.back, year.estate, NOW)
    rows = [day for day in year.back.datasets if day.dataset == "herbarium-scans"]
    view = trend_view(rows, span)
    assert sum(month.counts.known for month in view.months) == view.counts.known == (NOW.date() - FIRST).days + 1
    assert sum(month.counts.nonconforming for month in view.months) == view.counts.nonconforming == 35
    assert view.counts.no_audit == 5
    assert view.since == FIRST
    assert view.counts.conforming + view.counts.nonconforming + view.counts.without_proof == view.counts.known
    assert view.strip.width == span.days
    assert (NOW - timedelta(days=365)).date() + timedelta(days=1) == span.first

"""The days of a look back."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo

import pytest

from coverage_audit.estate.model import DatasetId, Schedule
from coverage_audit.judgement.verdict import Conclusion
from coverage_audit.ledger.past_record import LookBack
from coverage_audit.reports.days import DayState, days_by_dataset, span_of, states_of_audits, states_of_dataset
from coverage_audit.reports.trends import counted
from tests.builders.judged import an_estate
from tests.builders.judged_station import the_station
from tests.builders.past_days import SPAN, a_day, an_audit, at


def test_a_day_without_an_audit_proves_nothing_and_days_before_the_first_are_not_counted() -> None:
    states = states_of_audits([an_audit(at(3)), an_audit(at(5)), an_audit(at(6))], SPAN)
    assert states[:2] == (DayState.BEFORE, DayState.BEFORE)
    assert states[2:] == (
        DayState.CONFORMING,
        DayState.NO_AUDIT,
        DayState.CONFORMING,
        DayState.CONFORMING,
        DayState.NO_AUDIT,
        DayState.NO_AUDIT,
    )
    counts = counted(states)
    assert (counts.conforming, counts.without_proof, counts.known) == (3, 3, 6)


def test_an_audit_of_some_datasets_is_none_of_the_estate() -> None:
    assert set(states_of_audits([an_audit(at(3), whole=False)], SPAN)) == {DayState.BEFORE}


def test_of_several_audits_of_a_day_the_last_stands() -> None:
    worse = [a_day(at(3)), a_day(at(3, 9), Conclusion.NONCONFORMING)]
    assert states_of_dataset(worse, SPAN)[2] is DayState.NONCONFORMING
    better = [a_day(at(3), Conclusion.NONCONFORMING), a_day(at(3, 9))]
    assert states_of_dataset(better, SPAN)[2] is DayState.CONFORMING


def test_a_day_is_that_of_the_estates_zone() -> None:
    auckland = replace(SPAN, zone=ZoneInfo("Pacific/Auckland"))
    late = [a_day(datetime(2026, 11, 3, 22, 0, tzinfo=UTC))]  # the morning of the fourth there
    assert states_of_dataset(late, auckland)[3] is DayState.CONFORMING
    assert states_of_dataset(late, SPAN)[2] is DayState.CONFORMING


@pytest.mark.parametrize(
    ("now", "audited", "scheduled", "last"),
    [
        (at(8, 3), 0, time(4, 10), 7),  # its audit is not due yet
        (at(8, 5), 0, time(4, 10), 8),  # it was due and did not come
        (at(8, 5), 0, None, 7),
        (at(8, 5), 1, None, 8),
    ],
)
def test_today_counts_once_its_audit_was_due_or_was(
    now: datetime, audited: int, scheduled: time | None, last: int
) -> None:
    estate = replace(an_estate(), schedule=Schedule(audit=scheduled))
    audits = (an_audit(at(8, 1)),) * audited
    back = LookBack(since=now - timedelta(days=365), until=now, audits=audits)
    span = span_of(back, estate, now)
    assert span.last == date(2026, 11, last)
    assert span.first == date(2025, 11, 9)


def test_a_dataset_that_had_another_name_has_its_days_under_both() -> None:
    _, estate, _ = the_station()
    renamed = tuple(
        replace(one, formerly=(DatasetId("charts"),)) if one.id == "maps" else one for one in estate.datasets
    )
    rows = (a_day(at(3), name="charts"), a_day(at(4)), a_day(at(4), name="gone"))
    back = LookBack(since=at(1), until=at(8), datasets=rows)
    found = days_by_dataset(back, replace(estate, datasets=renamed))
    assert [day.at for day in found[DatasetId("maps")]] == [at(3), at(4)]
    assert DatasetId("gone") not in found
    assert found[DatasetId("letters")] == ()

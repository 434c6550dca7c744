from __future__ import annotations

from datetime import UTC, datetime, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest

from coverage_audit.audits.looking_back import begin_of, look_back
from coverage_audit.errors import UsageError
from coverage_audit.estate.model import Estate
from coverage_audit.estate.reader import estate_of
from coverage_audit.ledger.ledger import Ledger
from tests.builders.estate_file import SMALL
from tests.builders.nights import recorded
from tests.builders.recorded import night

DUBLIN = ZoneInfo("Europe/Dublin")
NOW = datetime(2026, 11, 26, 9, 0, tzinfo=UTC)
LEAST = timedelta(microseconds=1)


def the_estate(text: str = SMALL) -> Estate:
    return estate_of(text, Path("estate.yaml"))


@pytest.mark.parametrize(
    ("said", "zone", "begin"),
    [
        ("2025-11-27", "Europe/Dublin", "2025-11-27T00:00+00:00"),
        ("2026-07-01", "Europe/Dublin", "2026-06-30T23:00+00:00"),
        ("2026-03-29", "Europe/Dublin", "2026-03-29T00:00+00:00"),  # clocks go forward at 01:00 of that day
        ("2026-03-30", "Europe/Dublin", "2026-03-29T23:00+00:00"),
        ("2025-09-07", "America/Santiago", "2025-09-07T04:00+00:00"),  # its midnight was skipped: 24:00 became 01:00
        ("90d", "Europe/Dublin", "2026-08-28T09:00+00:00"),
        ("52w", "Europe/Dublin", "2025-11-27T09:00+00:00"),
        ("P1D", "Europe/Dublin", "2026-11-25T09:00+00:00"),
    ],
)
def test_a_date_begins_at_its_midnight_and_a_duration_counts_from_now(said: str, zone: str, begin: str) -> None:
    assert begin_of(said, NOW, ZoneInfo(zone)) == datetime.fromisoformat(begin)


@pytest.mark.parametrize("said", ["yesterday", "1y", "2026-02-30", "27.11.2025", "", "2026-11", "0001-01-01T00:00"])
def test_what_is_neither_is_refused_with_the_two_ways_to_say_it(said: str) -> None:
    with pytest.raises(UsageError, match=r"a date \(2025-11-27\) or a duration \(90d, 52w\)"):
        begin_of(said, NOW, DUBLIN)


@pytest.mark.parametrize("said", ["2026-11-27", "2099-01-01", "0d"])
def test_what_is_to_come_is_refused(said: str) -> None:
    with pytest.raises(UsageError, match="not past yet"):
        begin_of(said, NOW, DUBLIN)


def test_a_date_of_long_ago_is_no_mistake() -> None:
    assert begin_of("0001-01-02", NOW, DUBLIN).year == 1


def test_without_any_audit_there_is_nothing_to_look_back_on(ledger: Ledger) -> None:
    assert look_back(the_estate(), night(0), ledger, night(5)) is None


def test_the_estate_of_the_begin_is_that_of_the_audit_before_it(ledger: Ledger) -> None:
    recorded(ledger, 1, estate_text=SMALL.replace("max_age: 26h", "max_age: 12h"))
    recorded(ledger, 3, estate_text=SMALL)
    looked = look_back(the_estate(), night(2), ledger, night(5))
    assert looked is not None
    assert looked.then is not None
    assert (looked.then_at, looked.first_audit) == (night(1), None)
    assert looked.then.policies[0].max_age == timedelta(hours=12)
    assert [audit.started for audit in looked.back.audits] == [night(3)]


def test_a_ledger_that_began_later_says_so_and_looks_back_from_the_midnight_before_its_first_audit(
    ledger: Ledger,
) -> None:
    recorded(ledger, 3, estate_text=SMALL)
    looked = look_back(the_estate(), night(0), ledger, night(5))
    assert looked is not None
    assert looked.first_audit == night(3)
    assert looked.back.since == datetime(2026, 11, 4, tzinfo=UTC) - LEAST
    assert len(looked.back.audits) == 1


def test_a_ledger_that_began_on_the_day_itself_did_not_begin_later(ledger: Ledger) -> None:
    recorded(ledger, 3, estate_text=SMALL)
    looked = look_back(the_estate(), datetime(2026, 11, 4, tzinfo=UTC), ledger, night(5))
    assert looked is not None
    assert looked.first_audit is None


def test_an_audit_at_the_very_begin_belongs_to_the_span(ledger: Ledger) -> None:
    recorded(ledger, 3, estate_text=SMALL)
    looked = look_back(the_estate(), night(3), ledger, night(5))
    assert looked is not None
    assert len(looked.back.audits) == 1


def test_a_text_of_another_version_is_no_estate_and_no_error(ledger: Ledger) -> None:
    recorded(ledger, 1, estate_text="estate: {of: another version}\n")
    looked = look_back(the_estate(), night(2), ledger, night(5))
    assert looked is not None
    assert looked.then is None

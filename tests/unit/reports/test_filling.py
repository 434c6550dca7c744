"""When volumes are full, as pages and JSON say it."""

from __future__ import annotations

import json
from dataclasses import replace
from datetime import date, timedelta

import pytest

from coverage_audit.estate.model import Estate
from coverage_audit.evidence.room import RoomDay
from coverage_audit.judgement.forecast import RoomForecast
from coverage_audit.judgement.verdict import JudgedEstate
from coverage_audit.reckoning.filling import Filling
from coverage_audit.reports.as_json import audit_json
from coverage_audit.reports.days import span_of
from coverage_audit.reports.filling import filling_said
from coverage_audit.reports.rooms import rooms_view
from coverage_audit.reports.running_out import Due, due_next
from tests.builders.judged import NOW, a_dataset, an_estate, judged, key
from tests.builders.year_of_the_station import a_year_of_the_station

DAY = timedelta(days=1)
GB = 10**9
ESTATE = an_estate()


def a_filling(
    reached: int | None = 100, earliest: int | None = 80, latest: int | None = 140, low: float = GB
) -> Filling:
    at = [None if days is None else NOW + days * DAY for days in (reached, earliest, latest)]
    return Filling(pace=3 * GB, pace_low=low, pace_high=5 * GB, reached=at[0], earliest=at[1], latest=at[2])


def an_audit(bytes_: Filling | None, inodes: Filling | None = None) -> JudgedEstate:
    last = RoomDay(at=NOW, capacity=8000 * GB, free=300 * GB, inodes=900, inodes_free=50)
    room = RoomForecast(
        volume=key("kestrel"), last=last, known_since=NOW - 90 * DAY, days=90, bytes=bytes_, inodes=inodes
    )
    return replace(judged((a_dataset("maps", ()),)), rooms=(room,))


def full(audit: JudgedEstate, estate: Estate = ESTATE) -> list[Due]:
    return [one for one in due_next(audit, estate, NOW) if one.what.endswith("is full at its present pace")]


def test_the_date_is_said_with_its_interval() -> None:
    assert filling_said(an_audit(a_filling()), ESTATE) == {key("kestrel"): "full 2027-03-05 (2027-02-13 to 2027-04-14)"}


@pytest.mark.parametrize(
    ("found", "said"),
    [
        (a_filling(latest=None), "full 2027-03-05 (2027-02-13 at the earliest)"),
        (a_filling(None, 80, None), "full not foreseeable; 2027-02-13 at the earliest"),
        (a_filling(None, None, None), "not filling"),
        (a_filling(100, 100, 100), "full 2027-03-05"),
        (None, None),
    ],
)
def test_what_is_not_foreseeable_is_said_as_such(found: Filling | None, said: str | None) -> None:
    assert filling_said(an_audit(found), ESTATE).get(key("kestrel")) == said


def test_what_is_used_up_first_is_told_of() -> None:
    audit = an_audit(a_filling(), a_filling(40, 30, 60))
    assert filling_said(audit, ESTATE)[key("kestrel")].startswith("inodes used up 2027-01-04")


def test_a_volume_that_is_full_within_a_year_is_due() -> None:
    (found,) = full(an_audit(a_filling()))
    assert (found.by, found.what) == (date(2027, 3, 5), "kestrel:main is full at its present pace")
    assert found.why == "between 2027-02-13 and 2027-04-14, +3.0 GB a day, 300 GB of 8.0 TB free"


@pytest.mark.parametrize("found", [None, a_filling(400, 300, 500), a_filling(low=-1.0), a_filling(None, 80, None)])
def test_what_is_far_off_or_not_shown_is_not_due(found: Filling | None) -> None:
    assert full(an_audit(found)) == []


def test_a_volume_that_left_the_estate_is_not_due() -> None:
    gone = replace(ESTATE, devices=tuple(device for device in ESTATE.devices if device.id != "kestrel"))
    assert full(an_audit(a_filling()), gone) == []


def test_the_room_of_a_volume_bears_its_date() -> None:
    year = a_year_of_the_station()
    fills = {key("kestrel"): "full 2027-03-05"}
    views = rooms_view(year.back, year.estate, span_of(year.back, year.estate, NOW), fills)
    assert {str(view.volume): view.fills for view in views}["kestrel:main"] == "full 2027-03-05"
    assert [view.fills for view in views].count(None) == len(views) - 1


def test_the_json_says_when_and_between_what() -> None:
    (room,) = json.loads(audit_json(an_audit(a_filling(latest=None))))["rooms"]
    assert (room["volume"], room["free"], room["days"], room["inodes_used_up"]) == ("kestrel:main", 300 * GB, 90, None)
    assert room["bytes_used_up"]["latest"] is None
    assert room["bytes_used_up"]["pace"] == 3 * GB
    assert room["bytes_used_up"]["reached"].startswith("2027-03-05T")

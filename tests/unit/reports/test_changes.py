"""A year looked back on: what happens in it stands in `tests.builders.year_kept`; the figures are counted by hand."""

from __future__ import annotations

import json
from dataclasses import replace
from datetime import date, datetime, timedelta
from pathlib import Path

import jsonschema
import pytest

from coverage_audit.audits.looking_back import LookedBack, begin_of, look_back
from coverage_audit.estate.changes import ChangeKind, EstateChange
from coverage_audit.estate.model import DatasetId
from coverage_audit.estate.reader import estate_of
from coverage_audit.estate.shipped import defaults_folder
from coverage_audit.judgement.verdict import Answer
from coverage_audit.ledger.estates_kept import VolumeShown
from coverage_audit.ledger.opening import open_ledger
from coverage_audit.ledger.past_record import LookBack
from coverage_audit.ledger.record import EstateEvent
from coverage_audit.reports.changes import Changes, changes_of
from coverage_audit.reports.changes_json import changes_json
from coverage_audit.reports.changes_page import changes_page
from coverage_audit.reports.changes_text import changes_text
from coverage_audit.reports.changes_words import first_sentence, hardware_said
from coverage_audit.reports.courses import DatasetCourse
from coverage_audit.reports.days import DayState
from coverage_audit.reports.hardware_courses import RoomSum, drive_courses
from coverage_audit.reports.trends import Counts
from tests.builders.year_kept import FIRST, GB, LAST, NOW, TB, estate_at, night, text_of, volume

HOSTILE = "<script>alert(1)</script>\x1b[2J\n"


@pytest.fixture
def changes(looked_back: LookedBack) -> Changes:
    return changes_of(looked_back, NOW)


def looked_from(state: Path, said: str, now: datetime = NOW) -> Changes:
    estate = estate_at(LAST)
    with open_ledger(state) as ledger:
        looked = look_back(estate, begin_of(said, now, estate.time_zone), ledger, now)
    assert looked is not None
    return changes_of(looked, now)


def counts(conforming: int, nonconforming: int = 0, unverified: int = 0, no_audit: int = 0) -> Counts:
    return Counts(conforming=conforming, nonconforming=nonconforming, unverified=unverified, no_audit=no_audit)


def days_of(changes: Changes, name: str) -> Counts:
    return course(changes, name).counts


def course(changes: Changes, name: str) -> DatasetCourse:
    (found,) = [one for one in changes.datasets if one.dataset == name]
    return found


def test_every_day_of_the_year_is_counted_once_though_the_clocks_changed_twice(changes: Changes) -> None:
    assert (changes.span.first, changes.span.last, changes.span.days) == (FIRST, LAST, 365)
    assert changes.counts == counts(
        349, 10, 2, 4
    )  # 365 less the ten, the two, the three missed and the one that failed
    assert len(changes.states) == 365
    assert first_sentence(changes) == (
        "Of 365 days 349 were conforming, 10 were nonconforming, 2 were unverified, 4 had no audit."
    )


def test_the_days_of_each_dataset_are_those_on_which_it_was_declared(changes: Changes) -> None:
    assert days_of(changes, "field-recordings") == counts(351, 10, 0, 4)
    assert days_of(changes, "herbarium") == counts(359, 0, 2, 4)
    # From 2026-04-01 to 2026-11-26: 30+31+30+31+31+30+31 days of seven months, and 26.
    assert days_of(changes, "tapes") == counts(240 - 4, no_audit=4)
    # From 2025-11-27 to 2026-06-30: 4 days, and 31+31+28+31+30+31+30 of seven months.
    assert days_of(changes, "old-maps") == counts(216 - 3, no_audit=3)


def test_datasets_are_born_and_end(changes: Changes) -> None:
    assert [(one.dataset, one.born, one.ended) for one in changes.datasets] == [
        ("field-recordings", None, None),
        ("herbarium", None, None),
        ("tapes", date(2026, 4, 1), None),
        ("old-maps", None, date(2026, 6, 30)),
    ]


def test_an_original_grows(changes: Changes) -> None:
    grown = course(changes, "field-recordings")
    assert grown.first is not None
    assert grown.last is not None
    assert (grown.first.at, grown.first.files, grown.first.bytes) == (night(FIRST), 1000, 100 * GB)
    assert (grown.last.at, grown.last.files, grown.last.bytes) == (night(LAST), 1364, 282 * GB)  # 364 nights of 0.5 GB


def test_incidents_are_told_with_how_long_they_lasted(changes: Changes) -> None:
    told = [(one.incident.finding.id, one.incident.worst, one.lasted, one.over) for one in changes.incidents]
    assert told == [
        ("enough-copies:field-recordings", Answer.NONCONFORMITY, timedelta(days=10), "recovered"),
        # Two nights, one hour of which the clocks passed over.
        ("enough-copies:herbarium", Answer.UNVERIFIED, timedelta(hours=47), "recovered"),
    ]


def test_nights_without_an_audit_are_told_with_why(changes: Changes) -> None:
    assert [(one.first, one.last, one.count, one.why) for one in changes.missing] == [
        (date(2026, 6, 10), date(2026, 6, 12), 3, "the auditor was off or asleep"),
        (date(2026, 8, 1), date(2026, 8, 1), 1, "it failed: the disk was full"),
    ]


def test_days_at_the_begin_without_an_audit_are_told_of_like_any_others(year_state: Path) -> None:
    changes = looked_from(year_state, "2026-06-10")
    assert changes.counts.no_audit == 4
    assert [(one.first, one.count) for one in changes.missing] == [(date(2026, 6, 10), 3), (date(2026, 8, 1), 1)]
    assert days_of(changes, "herbarium").no_audit == 4


def test_drives_come_and_go_and_filesystems_change(changes: Changes) -> None:
    told = [(changes.span.of(at).isoformat(), text) for at, text in hardware_said(changes)]
    assert told == [
        ("2026-03-09", "drive KES-1 was seen for the last time, under kestrel:main"),
        ("2026-03-10", "drive KES-9 came, under kestrel:main"),
        ("2026-03-10", "kestrel:main has another filesystem: uuid-old before, uuid-new now"),
        ("2026-06-30", "drive CUR-1 was seen for the last time, under curlew:store"),
    ]


def test_room_is_then_and_now_by_volume_and_in_sum(changes: Changes) -> None:
    seen = {
        str(one.volume): (one.first and one.first.capacity, one.last and one.last.capacity) for one in changes.volumes
    }
    assert seen == {
        "kestrel:main": (4 * TB, 8 * TB),
        "bittern:pool": (10 * TB, 10 * TB),
        "curlew:store": (2 * TB, 2 * TB),
    }
    # Free is 1, 4 and 1 TB; the box curlew is there no more at the end.
    assert changes.room == (
        RoomSum(capacity=16 * TB, used=10 * TB, shown=3, volumes=3),
        RoomSum(capacity=18 * TB, used=13 * TB, shown=2, volumes=2),
    )


def test_policies_are_tightened_and_loosened(changes: Changes) -> None:
    assert [(one.name, one.direction) for one in changes.asked] == [("careful", "tightened"), ("plain", "loosened")]


def test_a_renamed_box_is_one_and_stands_elsewhere(changes: Changes) -> None:
    text = changes_text(changes, width=200, colour=False)
    assert "device heron is called bittern now" in text
    assert "device bittern moved from Field station to Long Barn" in text
    assert "device curlew left the estate" in text
    assert "heron:pool" not in text


def test_what_was_noted_bears_the_day_on_which_it_was(changes: Changes) -> None:
    text = changes_text(changes, width=200, colour=False)
    assert "2026-03-09  volume kestrel:main was swapped (accepted by Aoife): drive KES-1, now KES-9" in text
    assert "2026-07-01  dataset old-maps left the estate" in text


def test_a_part_of_the_year_is_told_of_by_itself(year_state: Path) -> None:
    changes = looked_from(year_state, "2026-10-25")  # the day of 25 hours, with two audits
    assert (changes.span.first, changes.span.days) == (date(2026, 10, 25), 33)
    assert changes.counts == counts(33)
    assert first_sentence(changes) == "All 33 days were conforming."
    assert (changes.declared, changes.asked, changes.drives, changes.incidents, changes.missing) == ((), (), (), (), ())
    assert [one.dataset for one in changes.datasets] == ["field-recordings", "herbarium", "tapes"]


def test_one_day_is_told_of_as_one(year_state: Path) -> None:
    assert first_sentence(looked_from(year_state, "2026-11-26")) == "The one day was conforming."


def test_a_duration_counts_whole_days(year_state: Path) -> None:
    assert looked_from(year_state, "90d").span.days == 90


def test_an_incident_that_began_before_is_told_with_all_its_time(year_state: Path) -> None:
    changes = looked_from(year_state, "2026-02-08")
    (first, _) = changes.incidents
    assert first.lasted == timedelta(days=10)
    assert changes.counts.nonconforming == 3  # the 8th, 9th and 10th


def test_an_incident_that_lasts_is_as_long_as_it_has_lasted(looked_back: LookedBack) -> None:
    (first, *_) = looked_back.back.incidents
    back = replace(looked_back.back, incidents=(replace(first, ended=None, ended_as=None),))
    (one,) = changes_of(replace(looked_back, back=back), NOW).incidents
    # From 2026-02-01 04:10 to 2026-11-26 09:00: 28+31+30+31+30+31+31+30+31 days of nine months, 25 days, 4 h 50 min.
    assert (one.over, one.lasted) == ("lasts", timedelta(days=298, hours=4, minutes=50))


def test_a_look_back_beyond_the_ledger_says_since_when_it_knows(year_state: Path) -> None:
    changes = looked_from(year_state, "2020-01-01")
    assert changes.span.first == FIRST
    assert "Since the first audit on 2025-11-27" in " ".join(changes_text(changes, width=200, colour=False).split())
    assert json.loads(changes_json(changes))["first_audit"] == "2025-11-27T04:10:00Z"


def test_an_estate_that_cannot_be_read_back_is_said_and_what_was_noted_is_told(looked_back: LookedBack) -> None:
    changes = changes_of(replace(looked_back, then=None), NOW)
    text = changes_text(changes, width=200, colour=False)
    assert "cannot be read back" in text
    assert "dataset old-maps left the estate" in text
    assert course(changes, "old-maps").ended == date(2026, 6, 30)
    assert course(changes, "tapes").born == date(2026, 4, 1)
    assert changes_page(changes, NOW).count("cannot be read back") == 1


def test_a_dataset_that_went_and_came_back_has_no_days_in_between(looked_back: LookedBack) -> None:
    name = DatasetId("herbarium")
    events = tuple(
        EstateEvent(at=night(day), change=EstateChange(kind=kind, part="dataset", name=name))
        for day, kind in ((date(2026, 9, 1), ChangeKind.WENT), (date(2026, 9, 11), ChangeKind.CAME))
    )
    back = looked_back.back
    days = tuple(
        day
        for day in back.datasets
        if day.dataset != name or not night(date(2026, 9, 1)) <= day.at < night(date(2026, 9, 11))
    )
    changes = changes_of(replace(looked_back, back=replace(back, events=events, datasets=days)), NOW)
    assert days_of(changes, name) == counts(349, 0, 2, 4)  # ten nights of 359 less
    assert (course(changes, name).born, course(changes, name).ended) == (None, None)


def test_a_dataset_that_was_never_audited_has_no_days(looked_back: LookedBack) -> None:
    text = (
        text_of(LAST) + "  new-one: {policy: plain, original: 'kestrel:main/new', copies: [{at: 'bittern:pool/new'}]}\n"
    )
    changes = changes_of(replace(looked_back, now=estate_of(text, Path("estate.yaml"))), NOW)
    assert days_of(changes, "new-one") == counts(0)
    assert "new-one: not seen" in changes_text(changes, width=200, colour=False)


def test_a_ledger_without_a_day_concludes_nothing(looked_back: LookedBack) -> None:
    empty = LookBack(since=looked_back.back.since, until=looked_back.back.until)
    changes = changes_of(replace(looked_back, back=empty, shown=()), NOW)
    assert first_sentence(changes) == "No audit of the whole estate in 365 days: nothing is known of them."
    assert days_of(changes, "herbarium") == counts(0, no_audit=365)


def seen(device: str, name: str, drives: str, first: date, last: date) -> VolumeShown:
    shown = frozenset(drives.split())
    return VolumeShown(volume=volume(device, name), first=night(first), last=night(last), filesystem=name, drives=shown)


def test_a_drive_that_is_plugged_in_elsewhere_moved_and_neither_came_nor_went(looked_back: LookedBack) -> None:
    middle = date(2026, 5, 1)
    shown = (
        seen("kestrel", "main", "A B", FIRST, date(2026, 4, 30)),
        seen("kestrel", "main", "A", middle, LAST),
        seen("bittern", "pool", "C", FIRST, date(2026, 5, 2)),
        seen("bittern", "pool", "C B", date(2026, 5, 3), LAST),
    )
    (drive,) = [one for one in drive_courses(replace(looked_back, shown=shown)) if one.changed]
    assert (drive.serial, drive.came, drive.went) == ("B", None, None)
    assert drive.moved == ((volume("kestrel", "main"), volume("bittern", "pool"), night(date(2026, 5, 3))),)


def test_a_drive_under_two_volumes_at_once_did_not_move(looked_back: LookedBack) -> None:
    shown = (seen("kestrel", "main", "A", FIRST, LAST), seen("bittern", "pool", "A", FIRST, LAST))
    assert not [one for one in drive_courses(replace(looked_back, shown=shown)) if one.changed]


def test_volumes_on_one_filesystem_count_once_in_the_sum(looked_back: LookedBack) -> None:
    shown = tuple(replace(one, filesystem="one") for one in looked_back.shown)
    then, now = changes_of(replace(looked_back, shown=shown), NOW).room
    assert (then.volumes, then.capacity) == (1, 4 * TB)
    assert (now.volumes, now.capacity) == (1, 8 * TB)


def test_the_json_is_as_published(changes: Changes) -> None:
    schema = json.loads((defaults_folder() / "changes.schema.json").read_text(encoding="utf-8"))
    jsonschema.Draft202012Validator.check_schema(schema)
    told = json.loads(changes_json(changes))
    jsonschema.validate(told, schema, format_checker=jsonschema.FormatChecker())
    assert told["days"] == {"conforming": 349, "nonconforming": 10, "unverified": 2, "no_audit": 4}
    assert [one["seconds"] for one in told["incidents"]] == [864_000, 169_200]
    assert told["room"]["now"] == {"capacity": 18 * TB, "used": 13 * TB, "shown": 2, "volumes": 2}


def hostile(looked: LookedBack) -> LookedBack:
    """The same with a name in each place that tries what names try."""
    back = looked.back
    change = EstateChange(kind=ChangeKind.CAME, part="dataset", name=HOSTILE, who=HOSTILE)
    incidents = tuple(replace(one, finding=replace(one.finding, message=HOSTILE)) for one in back.incidents)
    days = tuple(replace(day, dataset=DatasetId(day.dataset + HOSTILE)) for day in back.datasets)
    nights = tuple(replace(one, detail=HOSTILE) for one in back.nights)
    shown = tuple(replace(one, drives=frozenset({HOSTILE + drive for drive in one.drives})) for one in looked.shown)
    more = replace(
        back,
        incidents=incidents,
        datasets=days,
        nights=nights,
        events=(*back.events, EstateEvent(at=NOW, change=change)),
    )
    return replace(looked, back=more, shown=shown)


def test_hostile_names_are_shown_and_do_nothing(looked_back: LookedBack) -> None:
    changes = changes_of(hostile(looked_back), NOW)
    page, text, told = changes_page(changes, NOW), changes_text(changes, width=100, colour=False), changes_json(changes)
    assert "<script" not in page
    assert "&lt;script&gt;" in page
    for said in (page, text, told):
        assert "\x1b" not in said
        assert r"\x1b[2J" in said


def test_the_page_says_what_the_text_says(changes: Changes) -> None:
    page = changes_page(changes, NOW)
    for said in ("349", "born 2026-04-01", "ended 2026-06-30", "KES-9", "10 days", "47 h", "2026-06-12", "Long Barn"):
        assert said in page
    assert "http" not in page.replace("http-equiv", "").replace("http://www.w3.org", "")


@pytest.mark.parametrize("width", [60, 72, 100])
def test_the_text_keeps_to_its_width_but_for_what_cannot_be_broken(changes: Changes, width: int) -> None:
    for line in changes_text(changes, width=width, colour=False).splitlines():
        assert len(line) <= width or " " not in line.strip() or "[" in line or "  " in line, line


def test_the_strips_of_days_show_what_was_counted(changes: Changes) -> None:
    (maps,) = [one for one in changes.datasets if one.dataset == "old-maps"]
    assert maps.states[-1] is DayState.BEFORE
    assert maps.states.count(DayState.CONFORMING) == maps.counts.conforming

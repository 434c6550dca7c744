"""Real audits of dated folders and dumps: what a pruning takes, a job that stops, and a dump that failed."""

from __future__ import annotations

import os
import shutil
from datetime import timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest

from coverage_audit.audits.audit import Audited
from coverage_audit.judgement.verdict import Answer, Conclusion, Finding
from tests.builders.two_places import two_places
from tests.parts.station import Station, copy_of, dataset_of

FOLDERS = '{at: "heron:pool/{point}", points: {folders: "%Y-%m-%dT%H%M%SZ"}}'
FILES = '{at: "heron:pool/{point}", points: {files: "dump-%Y-%m-%dT%H%M%SZ.sql"}, proof: dated}'
DAY = timedelta(days=1)
AGE = timedelta(hours=3)


def declared(station: Station, criteria: str, copy: str = FOLDERS) -> Station:
    text = two_places(copies=(copy,)).replace("max_age: 26h", f"max_age: 26h, {criteria}")
    station.declare(text)
    station.write("kestrel/recordings/take.wav", bytes(1000))
    (station.root / "heron").mkdir(exist_ok=True)
    return station


def named(station: Station, age: timedelta, pattern: str = "%Y-%m-%dT%H%M%SZ") -> Path:
    return station.root / "heron" / (station.now() - age).strftime(pattern)


def taken(station: Station, *ages: timedelta) -> list[Path]:
    """Make points of what the original holds now, dated so long ago."""
    folders = [named(station, age) for age in ages]
    for folder in folders:
        shutil.copytree(station.root / "kestrel/recordings", folder)
    return folders


def yesterday(station: Station) -> timedelta:
    """How long ago it was about 21:00 of yesterday by Dublin's clocks."""
    return timedelta(hours=station.now().astimezone(ZoneInfo("Europe/Dublin")).hour + 3)


def dumped(station: Station, size: int, age: timedelta = AGE) -> Path:
    """Write a dump of so long ago."""
    file = named(station, age, "dump-%Y-%m-%dT%H%M%SZ.sql")
    file.write_bytes(os.urandom(size))
    moment = (station.now() - age).timestamp()
    os.utime(file, (moment, moment))
    return file


def found(audited: Audited, rule: str) -> Finding:
    (one,) = [f for f in dataset_of(audited, "field-recordings").findings if f.rule == rule]
    return one


@pytest.fixture
def nightly(station: Station) -> Station:
    """Ten nights of points."""
    declared(station, "keep: {daily: 5, weekly: 1}")
    taken(station, *(AGE + number * DAY for number in range(10)))
    return station


def test_a_month_of_which_the_pruning_took_the_last_point_is_found_in_the_same_audit(station: Station) -> None:
    declared(station, "keep: {daily: 2, monthly: 3}")
    one = station.now().replace(day=1) - 5 * DAY
    month = one.replace(day=1) - 5 * DAY
    three = month.replace(day=1) - 5 * DAY
    ages = (AGE, AGE + DAY, AGE + 2 * DAY, *(station.now() - each for each in (three, one, month)))
    last = taken(station, *ages)[-1]
    before = station.night()
    assert found(before, "kept-points").answer is Answer.CONFORMITY
    assert before.judged.conclusion is Conclusion.CONFORMING

    shutil.rmtree(last)
    after = station.night()

    assert found(after, "kept-points").answer is Answer.NONCONFORMITY
    assert f"was there and went: {month:%Y-%m}" in found(after, "kept-points").message
    assert after.judged.conclusion is Conclusion.NONCONFORMING
    again = station.night()
    assert f"was there and went: {month:%Y-%m}" in found(again, "kept-points").message


def test_what_the_copies_are_too_young_for_is_not_there_yet_and_then_it_is(station: Station) -> None:
    declared(station, "keep: {daily: 3}")
    taken(station, AGE)
    first = found(station.night(), "kept-points")
    assert first.answer is Answer.OBSERVATION
    assert "complete by" in first.message
    for _ in range(3):
        station.pass_time(DAY)
        taken(station, AGE)

    assert found(station.night(), "kept-points").answer is Answer.CONFORMITY


def test_what_the_pruning_deletes_next_is_learned_over_the_nights(nightly: Station) -> None:
    assert "what is deleted next is not known" in found(nightly.night(), "kept-points").message
    nightly.pass_time(DAY)
    taken(nightly, AGE)
    shutil.rmtree(min((nightly.root / "heron").iterdir()))

    told = found(nightly.night(), "kept-points").message

    oldest = min((nightly.root / "heron").iterdir()).name
    assert "the oldest is deleted at the age of 9 days" in told
    assert f"“{oldest}” goes next" in told


def test_a_half_made_point_is_no_state_that_one_could_return_to(station: Station) -> None:
    declared(station, "keep: {daily: 1}")
    taken(station, yesterday(station) + 2 * DAY)
    for number in range(5):
        station.write(f"kestrel/recordings/later-{number}.wav", os.urandom(500))
    half = named(station, yesterday(station))
    half.mkdir()

    audited = station.night()

    assert copy_of(audited, "field-recordings").evidence.half_made[0] == half.name
    assert found(audited, "kept-points").answer is Answer.NONCONFORMITY


def test_points_of_another_disk_are_not_taken_for_what_left(nightly: Station) -> None:
    nightly.night()
    nightly.declare(
        nightly.estate_file.read_text()
        .split("\n", 2)[2]
        .replace('/heron", medium: hdd}', '/heron", medium: hdd, identity: {filesystem_uuid: another}}')
    )
    shutil.move(nightly.root / "heron", nightly.root / "heron-before")
    (nightly.root / "heron").mkdir()
    taken(nightly, AGE)

    other = nightly.night()

    assert found(other, "kept-points").answer is Answer.UNVERIFIED
    past = copy_of(other, "field-recordings").evidence.past
    assert past is not None
    assert past.left == ()


def test_a_job_that_stopped_is_late_before_its_points_are_too_old_to_count(station: Station) -> None:
    declared(station, "rhythm: {every: 6h, tolerance: 1h}")
    taken(station, *(AGE + number * timedelta(hours=6) for number in range(20)))
    assert found(station.night(), "steady-rhythm").answer is Answer.CONFORMITY

    station.pass_time(timedelta(hours=10))
    audited = station.night()

    assert found(audited, "steady-rhythm").answer is Answer.NONCONFORMITY
    assert "is late" in found(audited, "steady-rhythm").message
    assert found(audited, "age").answer is Answer.CONFORMITY


def test_a_night_on_which_nothing_came_is_remembered_after_points_came_again(station: Station) -> None:
    declared(station, "rhythm: 1d")
    taken(station, *(AGE + number * DAY for number in range(5)))
    station.night()
    station.pass_time(2 * DAY)
    taken(station, AGE)

    audited = station.night()

    assert found(audited, "steady-rhythm").answer is Answer.NONCONFORMITY
    assert "no point came of 1 that were due" in found(audited, "steady-rhythm").message


def test_a_dump_that_holds_an_error_message_instead_is_found_by_its_size(station: Station) -> None:
    declared(station, "dump_size: 50%", FILES)
    for number in range(1, 5):
        dumped(station, 200_000 + number, AGE + number * DAY)
    dumped(station, 201_000)
    before = station.night()
    assert found(before, "dump-size").answer is Answer.CONFORMITY

    station.pass_time(DAY)
    dumped(station, 120)
    after = station.night()

    assert found(after, "dump-size").answer is Answer.NONCONFORMITY
    assert "is of 120 B, where 200 kB is usual" in found(after, "dump-size").message
    assert after.judged.conclusion is Conclusion.NONCONFORMING


def test_an_empty_dump_is_no_kept_point_either(station: Station) -> None:
    declared(station, "dump_size: 50%, keep: {daily: 1}", FILES)
    dumped(station, 100_000, yesterday(station) + 3 * DAY)
    dumped(station, 0, yesterday(station))

    audited = station.night()

    assert found(audited, "dump-size").answer is Answer.NONCONFORMITY
    assert "is empty" in found(audited, "dump-size").message
    assert found(audited, "kept-points").answer is Answer.NONCONFORMITY

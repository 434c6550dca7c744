"""Real trees over several audits: what goes or is rewritten at once, which copies still hold what was there before."""

from __future__ import annotations

import os
from datetime import timedelta
from pathlib import Path

from coverage_audit.audits.audit import Audited
from coverage_audit.judgement.verdict import Answer, Conclusion, Finding, Standing
from tests.builders.two_places import two_places
from tests.parts.station import Station, copy_of, dataset_of

DAY = timedelta(days=1)
FILES = 100
FOUND = "shrinkage:field-recordings@kestrel:main/recordings"
COPIES = ("{at: heron:pool/recordings}", '{at: "heron:pool/points/{point}", points: {folders: "%Y-%m-%d"}}')


def declared(station: Station, criteria: str = "shrinkage: 10%", copies: tuple[str, ...] = COPIES[:1]) -> Station:
    """A hundred takes in two folders, mirrored, and three quiet nights of them."""
    text = two_places(copies=copies)
    station.declare(text.replace("max_age: 26h", f"max_age: 26h, {criteria}") if criteria else text)
    for number in range(FILES):
        name = f"kestrel/recordings/{'spring' if number < 30 else 'summer'}/take-{number}.ods"
        station.write(name, os.urandom(1000 + number), age=timedelta(days=90 + number))
    station.mirror("kestrel/recordings", "heron/recordings")
    return station


def nights(station: Station, count: int = 3) -> Audited:
    """Let some nights go by and return the last one's audit."""
    for _ in range(count - 1):
        station.night()
        station.pass_time(DAY)
    audited = station.night()
    station.pass_time(DAY)
    return audited


def original(station: Station) -> Path:
    return station.root / "kestrel/recordings"


def takes(station: Station, count: int) -> list[Path]:
    return sorted(original(station).glob("*/take-*.ods"), key=lambda one: int(one.stem[5:]))[:count]


def encrypt(station: Station, count: int, suffix: str = ".xyz") -> None:
    """Rewrite files under another suffix, as of an hour ago."""
    for file in takes(station, count):
        later = Path(f"{file}{suffix}")
        later.write_bytes(os.urandom(file.stat().st_size + 64))
        file.unlink()
        station.stamp(str(later.relative_to(station.root)), timedelta(hours=1))


def found(audited: Audited, name: str = FOUND) -> Finding:
    (one,) = [finding for finding in dataset_of(audited, "field-recordings").findings if finding.id == name]
    return one


def test_files_rewritten_under_another_suffix_are_told_in_the_same_audit(station: Station) -> None:
    declared(station)
    before = nights(station)
    assert found(before).answer is Answer.CONFORMITY
    assert before.judged.conclusion is Conclusion.CONFORMING
    encrypt(station, 10)

    audited = station.night()

    told = found(audited)
    assert told.answer is Answer.NONCONFORMITY
    assert told.measured == "10 (10%) of 100 files and 10.0 kB (10%) of 105 kB lost"
    assert "10 files went each while one of its name with the suffix “.xyz” came" in told.message
    assert "heron:pool/recordings still holds 10 files (10.0 kB) of 10 files (10.0 kB) as before" in told.message
    assert "Stop the next runs to heron:pool/recordings." in told.mend
    assert audited.judged.conclusion is Conclusion.NONCONFORMING
    assert [change.finding.id for change in audited.recorded.transitions] == [FOUND]


def test_a_mirror_that_was_stopped_for_it_is_not_called_stale_however_long_that_lasts(station: Station) -> None:
    declared(station)
    nights(station)
    encrypt(station, 60)

    audited = nights(station, 4)

    copy = copy_of(audited, "field-recordings")
    assert copy.standing is Standing.PROVEN
    assert copy.comparison is not None
    assert copy.comparison.held_back.files == 60
    assert any("held back: 60 files" in remark for remark in copy.remarks)
    assert found(audited).answer is Answer.NONCONFORMITY
    assert audited.judged.conclusion is Conclusion.NONCONFORMING


def test_what_came_besides_the_change_counts_against_the_mirror_that_was_stopped(station: Station) -> None:
    declared(station)
    nights(station)
    encrypt(station, 10)
    station.write("kestrel/recordings/new-take.ods", b"of tonight", age=timedelta(hours=2))

    audited = nights(station, 3)

    assert copy_of(audited, "field-recordings").standing is Standing.STALE

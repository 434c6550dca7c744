"""Ways in which dated folders say "covered" while they are not: what a name promises is compared with what is there."""

from __future__ import annotations

import os
import shutil
import subprocess
from collections.abc import Sequence
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest

from coverage_audit.audits.audit import Audited, run_audit
from coverage_audit.evidence.collected import Answer, Question
from coverage_audit.evidence.facts import PointList
from coverage_audit.judgement.verdict import Conclusion, JudgedCopy, Standing
from coverage_audit.wiring import assembled
from tests.builders.two_places import two_places
from tests.parts.loops import MakeVolume
from tests.parts.station import Station, copy_of, dataset_of


def dated(pattern: str, zone: str = "") -> str:
    """An estate whose copy is dated folders named by this pattern."""
    copy = f'{{at: "heron:pool/{{point}}", points: {{folders: "{pattern}"}}}}'
    return two_places(zone=zone, copies=(copy,))


IN_UTC = "%Y-%m-%dT%H%M%SZ"
NAIVE = "%Y-%m-%d_%H-%M"
MOTHS = "kestrel/moths"


@pytest.fixture
def recorded(station: Station) -> Station:
    station.declare(dated(IN_UTC))
    for number in range(20):
        station.write(f"kestrel/recordings/take-{number}.wav", os.urandom(100 + number))
        station.write(f"{MOTHS}/plate-{number}.tif", os.urandom(200 + number))
    (station.root / "heron").mkdir()
    return station


def point(station: Station, age: timedelta, pattern: str = IN_UTC, zone: str = "UTC") -> Path:
    """The folder of a point made `age` ago."""
    return station.root / "heron" / (station.now() - age).astimezone(ZoneInfo(zone)).strftime(pattern)


def taken(station: Station, age: timedelta, source: str = "kestrel/recordings") -> Path:
    """Make a point of what `source` holds now, dated `age` ago."""
    folder = point(station, age)
    shutil.copytree(station.root / source, folder)
    return folder


def audit(station: Station) -> tuple[Audited, JudgedCopy]:
    audited = station.night()
    return audited, copy_of(audited, "field-recordings")


def points_of(copy: JudgedCopy) -> PointList:
    assert isinstance(copy.evidence.points, PointList)
    return copy.evidence.points


def test_a_fresh_point_of_another_dataset_is_not_this_ones(recorded: Station) -> None:
    taken(recorded, timedelta(hours=3), MOTHS)

    audited, copy = audit(recorded)

    assert copy.standing is Standing.INCOMPLETE
    assert audited.judged.conclusion is Conclusion.NONCONFORMING


def test_a_point_made_while_the_original_was_not_there_is_passed_over(recorded: Station) -> None:
    whole = taken(recorded, timedelta(hours=20))
    point(recorded, timedelta(hours=3)).mkdir()

    audited, copy = audit(recorded)

    assert copy.standing is Standing.PROVEN
    assert copy.evidence.point is not None
    assert copy.evidence.point.name == whole.name
    assert copy.recovery_point is not None
    assert audited.judged.finished - copy.recovery_point > timedelta(hours=19)


def test_points_made_each_night_while_the_original_was_not_there_are_as_old_as_the_last_whole_one(
    recorded: Station,
) -> None:
    taken(recorded, timedelta(days=3))
    for nights in (0, 1):
        point(recorded, timedelta(days=nights, hours=3)).mkdir()

    audited, copy = audit(recorded)

    assert copy.standing is Standing.STALE
    assert "newest complete recovery point" in copy.reason
    assert audited.judged.conclusion is Conclusion.NONCONFORMING


def test_points_of_which_none_was_ever_whole_hold_nothing(recorded: Station) -> None:
    for nights in range(3):
        point(recorded, timedelta(days=nights, hours=3)).mkdir()

    _, copy = audit(recorded)

    assert copy.standing is Standing.INCOMPLETE


@pytest.mark.root
@pytest.mark.parametrize(
    ("changed", "standing"),
    [(False, Standing.PROVEN), (True, Standing.INCOMPLETE)],
)
def test_an_older_point_of_a_disk_that_was_changed_meanwhile_is_no_evidence(
    recorded: Station, make_volume: MakeVolume, *, changed: bool, standing: Standing
) -> None:
    disks = [make_volume(recorded.root / "heron"), make_volume(recorded.root / "elsewhere")]
    disks[1].unmount()
    taken(recorded, timedelta(hours=20))
    whole = point(recorded, timedelta(hours=20)).name
    shutil.copytree(recorded.root / "heron" / whole, recorded.root / "kept" / whole)
    point(recorded, timedelta(hours=3)).mkdir()
    asked = list[Sequence[Question]]()

    with assembled(recorded.estate, recorded.state, clock=recorded.now) as parts:

        def gather(questions: Sequence[Question]) -> tuple[Answer, ...]:
            """Change the disk when heron is asked for its older points."""
            asked.append(questions)
            if len(asked) == 2 and changed:
                disks[0].unmount()
                replace(disks[1], folder=recorded.root / "heron").mount()
                shutil.copytree(recorded.root / "kept" / whole, recorded.root / "heron" / whole)
            return parts.gather(questions)

        audited = run_audit(recorded.estate, (), replace(parts, gather=gather))

    assert len(asked) >= 2, "the newest point is empty: an older one was asked for"
    assert copy_of(audited, "field-recordings").standing is standing


def test_a_folders_own_time_makes_no_old_point_new(recorded: Station) -> None:
    old = taken(recorded, timedelta(days=21))
    os.utime(old)

    audited, copy = audit(recorded)

    assert copy.standing is Standing.STALE
    assert audited.judged.conclusion is Conclusion.NONCONFORMING


def test_names_that_match_no_pattern_are_no_points_and_that_is_said(recorded: Station) -> None:
    (recorded.root / "heron/2026_11_24").mkdir()
    (recorded.root / "heron/2026_11_25").mkdir()

    audited, copy = audit(recorded)

    assert copy.standing is Standing.UNVERIFIED
    assert "none of the 2 names there is a recovery point" in copy.reason
    assert "2026_11_24" in copy.reason
    assert audited.judged.conclusion is Conclusion.UNVERIFIED


@pytest.mark.parametrize(
    ("box", "standing"),
    [("Pacific/Auckland", Standing.STALE), ("UTC", Standing.PROVEN)],
)
def test_a_name_without_a_zone_is_read_in_the_boxes_own_and_that_is_said(
    recorded: Station, box: str, standing: Standing
) -> None:
    # Read in UTC, a name written in Auckland (13 hours ahead in November) would be 13 hours fresher than it is.
    recorded.declare(dated(NAIVE, box))
    folder = point(recorded, timedelta(hours=20), NAIVE)
    shutil.copytree(recorded.root / "kestrel/recordings", folder)

    _, copy = audit(recorded)

    assert copy.standing is standing
    assert any(f"{box}, declared for the device is assumed" in remark for remark in copy.remarks)
    written = datetime.strptime(folder.name, NAIVE).replace(tzinfo=ZoneInfo(box)).astimezone(UTC)
    assert [each.earliest for each in points_of(copy).points] == [written]


def test_a_point_from_the_future_is_none(recorded: Station) -> None:
    taken(recorded, timedelta(days=3))
    taken(recorded, timedelta(hours=-5))

    _, copy = audit(recorded)

    assert copy.standing is Standing.STALE
    assert any("lies in the future" in why for _, why in points_of(copy).refused)


@pytest.mark.root
def test_a_snapshot_of_the_parent_holds_nothing_of_the_subvolume_within(
    recorded: Station, make_volume: MakeVolume
) -> None:
    pool = make_volume(recorded.root / "pool", "btrfs").folder
    _subvolume("create", pool / "recordings")
    _subvolume("create", pool / "recordings/bats")
    (pool / "recordings/take.wav").write_bytes(bytes(100))
    (pool / "recordings/bats/pip.wav").write_bytes(bytes(100))
    (recorded.root / "kestrel").rename(recorded.root / "kestrel-before")
    (recorded.root / "kestrel").symlink_to(pool)
    _subvolume("snapshot", "-r", pool / "recordings", point(recorded, timedelta(hours=3), f"../pool/{IN_UTC}"))
    (recorded.root / "heron").rmdir()
    (recorded.root / "heron").symlink_to(pool)

    audited, copy = audit(recorded)

    assert copy.standing is Standing.UNVERIFIED
    original = dataset_of(audited, "field-recordings").original
    assert original.standing is Standing.UNVERIFIED
    assert "bats" in original.reason
    assert audited.judged.conclusion is Conclusion.UNVERIFIED


@pytest.mark.root
def test_a_snapshot_without_the_subvolume_that_was_within_is_no_whole_point(
    recorded: Station, make_volume: MakeVolume
) -> None:
    pool = make_volume(recorded.root / "pool", "btrfs").folder
    _subvolume("create", pool / "copy")
    _subvolume("create", pool / "copy/bats")
    for folder in ("kestrel/recordings/bats", "pool/copy/bats"):
        for number in range(20):
            recorded.write(f"{folder}/pip-{number}.wav", bytes(100 + number))
    recorded.mirror("kestrel/recordings", "pool/copy")
    _subvolume("snapshot", "-r", pool / "copy", point(recorded, timedelta(hours=3), f"../pool/{IN_UTC}"))
    (recorded.root / "heron").rmdir()
    (recorded.root / "heron").symlink_to(pool)

    audited, copy = audit(recorded)

    # What stands for the subvolume is an empty folder with a device number of its own: a border, not an absence.
    assert copy.standing is Standing.UNVERIFIED
    assert copy.comparison is not None
    assert copy.comparison.unknown.files == 20
    assert audited.judged.conclusion is Conclusion.UNVERIFIED


def _subvolume(verb: str, *words: str | Path) -> None:
    subprocess.run(["btrfs", "-q", "subvolume", verb, *map(str, words)], check=True)

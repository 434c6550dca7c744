"""Drills of dated copies, of drives on the shelf, and of volumes that are not the ones that were pinned."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta
from typing import Any

import pytest

from coverage_audit.audits.drill_wish import DrillWish
from coverage_audit.audits.drilling import run_drill
from coverage_audit.errors import CollectionError
from coverage_audit.evidence.drilling import FilesBack
from coverage_audit.evidence.facts import Gap
from coverage_audit.wiring import assembled
from tests.builders.drilled_station import assert_nothing_is_left, drilled, recorded
from tests.builders.trees import flip
from tests.builders.two_places import two_places
from tests.parts.loops import LoopVolume, MakeVolume
from tests.parts.station import Station, copy_of

SHELF = """
    sites:
      station: {name: Field station}
      barn: {name: Long Barn}
    devices:
      kestrel:
        site: station
        access: local
        volumes: {main: {path: "{root}/kestrel", medium: hdd}}
      heron:
        site: station
        access: local
        volumes: {pool: {path: "{root}/heron", medium: hdd}}
      shelf-b:
        site: barn
        access: shelf
        volumes: {drive: {medium: ssd, offline: true}}
    policies:
      careful: {copies: 2, max_age: 26h}
    datasets:
      field-recordings:
        policy: careful
        original: kestrel:main/recordings
        copies:
          - {at: shelf-b:drive/recordings, max_age: 35d}
          - {at: heron:pool/recordings}
"""


def fill(station: Station, count: int = 6) -> None:
    for number in range(count):
        station.write(f"kestrel/recordings/take-{number}.wav", bytes([number]) * (1000 + number))


def test_of_dated_folders_the_newest_point_is_read(station: Station) -> None:
    fill(station)
    for age in (1, 0):
        station.mirror("kestrel/recordings", f"heron/{station.now() - timedelta(days=age):%Y-%m-%d}/recordings")
    copy = '{at: "heron:pool/{point}/recordings", points: {folders: "%Y-%m-%d"}}'
    station.declare(two_places(copies=(copy,)))
    newest = f"{station.now():%Y-%m-%d}"
    assert copy_of(station.night(), "field-recordings").standing.value == "proven"

    ran = drilled(station, "--json")
    assert ran.status == 0, ran
    assert (ran.object["point"], ran.object["restored"]["files"]) == (newest, 6)
    flip(station.root / "heron" / newest / "recordings/take-3.wav")
    assert drilled(station).status == 1


@pytest.fixture
def drive(station: Station, make_volume: MakeVolume) -> LoopVolume:
    """A drive that was recorded and lies on the shelf again, beside a copy on heron; both are audited."""
    make_volume(station.root / "kestrel")
    make_volume(station.root / "heron")
    fill(station)
    drive = make_volume(station.root / "plugged")
    station.mirror("kestrel/recordings", "plugged/recordings")
    station.mirror("kestrel/recordings", "heron/recordings")
    station.declare(SHELF)
    record = ("manifest", str(station.root / "plugged/recordings"), "--for", "shelf-b:drive/recordings")
    assert station.called(*record).status == 0
    drive.unmount()
    station.night()
    return drive


ON_SHELF = ("--copy", "shelf-b:drive/recordings")


@pytest.mark.root
def test_a_drive_on_the_shelf_says_what_to_plug_in_and_is_read_where_it_hangs(
    station: Station, drive: LoopVolume
) -> None:
    lying = drilled(station, *ON_SHELF)
    assert lying.status == 69
    assert "plug in the drive “shelf-b” and type the command again" in lying.err
    moved = replace(drive, folder=station.root / "elsewhere")
    moved.folder.mkdir()
    moved.mount()
    try:
        ran = drilled(station, *ON_SHELF, "--json")
        assert ran.status == 0, ran
        assert ran.object["restored"]["files"] == 6
        flip(moved.folder / "recordings/take-5.wav")
        assert drilled(station, *ON_SHELF).status == 1
    finally:
        moved.unmount()
    assert_nothing_is_left(station)


@pytest.mark.root
def test_another_drive_in_its_place_is_not_read(station: Station, drive: LoopVolume, make_volume: MakeVolume) -> None:
    make_volume(drive.folder)
    station.mirror("kestrel/recordings", "plugged/recordings")
    assert drilled(station, *ON_SHELF).status == 69
    assert recorded(station) == ()


@pytest.mark.root
def test_a_copy_that_cannot_be_read_is_passed_over_for_the_next_and_said(station: Station, drive: LoopVolume) -> None:
    ran = drilled(station, "--json")
    assert ran.status == 0, ran
    assert ran.object["copy"] == "heron:pool/recordings"
    assert "shelf-b:drive is not plugged in" in ran.object["passed_over"][0]
    assert drive.image.exists()


def seen_on_a_volume(station: Station, make_volume: MakeVolume) -> LoopVolume:
    """Fill the station, its copy on a volume of its own, and audit it once; that volume."""
    fill(station)
    heron = make_volume(station.root / "heron")
    station.mirror("kestrel/recordings", "heron/recordings")
    station.declare(two_places(rehearsal=False, on_root=True))
    station.night()
    return heron


@pytest.mark.root
def test_a_copy_whose_volume_is_not_mounted_is_not_read_and_the_original_at_its_place_is_none(
    station: Station, make_volume: MakeVolume
) -> None:
    """The same files lie at the copy's path, of the original's own box: nothing of them is the copy."""
    heron = seen_on_a_volume(station, make_volume)
    assert drilled(station).status == 0
    heron.unmount()
    station.mirror("kestrel/recordings", "heron/recordings")

    ran = drilled(station)

    assert ran.status == 69, ran
    assert "is not the one that is pinned" in ran.err
    assert len(recorded(station)) == 1


@pytest.mark.root
def test_a_volume_that_vanishes_while_it_is_read_shows_nothing_whatever_lies_in_its_place(
    station: Station, make_volume: MakeVolume
) -> None:
    heron = seen_on_a_volume(station, make_volume)
    with assembled(station.estate, station.state, clock=station.now) as parts:

        def vanishing(*place: Any, **how: Any) -> FilesBack | Gap:
            heron.unmount()
            station.mirror("kestrel/recordings", "heron/recordings")
            return parts.read_back(*place, **how)

        with pytest.raises(CollectionError, match="another volume was mounted there while it was read"):
            run_drill(station.estate, DrillWish(dataset="field-recordings"), replace(parts, read_back=vanishing))

    assert recorded(station) == ()

"""Copies are counted by the filesystems and drives they can be lost with, whatever machine shows them."""

from __future__ import annotations

import subprocess
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from coverage_audit.evidence.facts import VolumeFacts
from coverage_audit.judgement.verdict import Conclusion, Standing
from tests.parts.loops import MakeVolume
from tests.parts.station import Station, copy_of, dataset_of
from tests.parts.two_boxes import (
    HERONS_DRIVE,
    KESTRELS_DRIVE,
    StartBoth,
    assert_counted_once,
    assert_not_shown_apart,
    fill,
    finding,
)

pytestmark = pytest.mark.root


@pytest.fixture
def bound() -> Iterator[Callable[[Path, Path], None]]:
    """Give a way to bind a folder to another place."""
    places: list[Path] = []

    def bind(source: Path, place: Path) -> None:
        source.mkdir(parents=True, exist_ok=True)
        place.mkdir(parents=True, exist_ok=True)
        subprocess.run(["mount", "--bind", str(source), str(place)], check=True)
        places.append(place)

    yield bind
    for place in reversed(places):
        subprocess.run(["umount", str(place)], check=True)


def test_two_folders_of_one_filesystem_are_one(
    station: Station, make_volume: MakeVolume, start_both: StartBoth, bound: Callable[[Path, Path], None]
) -> None:
    disk = make_volume(station.root / "disk").folder
    bound(disk / "a", station.root / "kestrel")
    bound(disk / "b", station.root / "heron")
    fill(station)
    start_both()

    assert_counted_once(station.night(), "show one filesystem (UUID")


def test_the_original_bound_to_another_place_is_no_copy_of_itself(
    station: Station, make_volume: MakeVolume, start_both: StartBoth, bound: Callable[[Path, Path], None]
) -> None:
    make_volume(station.root / "kestrel")
    station.write("kestrel/recordings/take.wav")
    bound(station.root / "kestrel", station.root / "heron")
    start_both()

    audited = station.night()

    assert_counted_once(audited, "show one filesystem (UUID")
    exposure = dataset_of(audited, "field-recordings").exposure
    assert exposure is not None
    assert exposure.files == 1, "what is its own copy is held by no other"


def test_subvolumes_of_one_pool_are_one_though_their_device_numbers_differ(
    station: Station, make_volume: MakeVolume, start_both: StartBoth
) -> None:
    pool = make_volume(station.root / "pool", "btrfs")
    for name in ("kestrel", "heron"):
        subprocess.run(["btrfs", "-q", "subvolume", "create", str(pool.folder / name)], check=True)
        (station.root / name).symlink_to(pool.folder / name)
    fill(station)
    start_both()

    audited = station.night()

    places = [
        dataset_of(audited, "field-recordings").original.evidence.place.volume_facts,
        copy_of(audited, "field-recordings").evidence.place.volume_facts,
    ]
    numbers = {place.device_number for place in places if isinstance(place, VolumeFacts)}
    assert len(numbers) == 2, "each subvolume has a device number of its own"
    assert_counted_once(audited, "show one filesystem (UUID")


def test_two_filesystems_on_one_drive_are_one(station: Station, make_volume: MakeVolume, start_both: StartBoth) -> None:
    drive = make_volume(station.root / "drive", size=96).folder
    make_volume(station.root / "kestrel", size=16, image=drive / "first.img")
    make_volume(station.root / "heron", size=16, image=drive / "second.img")
    fill(station)
    start_both({"drive": "ONE-DRIVE-FOR-BOTH"})

    assert_counted_once(station.night(), "lie on one physical drive (ONE-DRIVE-FOR-BOTH)")


def test_a_filesystem_in_a_file_on_the_originals_volume_is_no_other_drive(
    station: Station, make_volume: MakeVolume, start_both: StartBoth
) -> None:
    kestrel = make_volume(station.root / "kestrel", size=96).folder
    make_volume(station.root / "heron", "btrfs", image=kestrel / "heron.img")
    fill(station)
    start_both({"kestrel": KESTRELS_DRIVE})

    assert_counted_once(station.night(), f"lie on one physical drive ({KESTRELS_DRIVE})")


def test_a_filesystem_in_a_file_of_which_nobody_says_where_it_lies_is_not_shown_apart(
    station: Station, make_volume: MakeVolume, start_both: StartBoth, memory: Path
) -> None:
    make_volume(station.root / "kestrel")
    make_volume(station.root / "heron", image=memory / "heron.img")
    fill(station)
    start_both({"kestrel": KESTRELS_DRIVE})

    assert_not_shown_apart(station.night(), "heron:pool does not show which drives it stands on")


@pytest.fixture
def memory(tmp_path: Path) -> Iterator[Path]:
    """A mount that no drive is shown for, as a share that another machine serves would be."""
    folder = tmp_path / "memory"
    folder.mkdir()
    subprocess.run(["mount", "-t", "tmpfs", "memory", str(folder)], check=True)
    yield folder
    subprocess.run(["umount", "--lazy", str(folder)], check=True)  # an image in it may still be mounted


def test_a_copy_on_the_originals_own_volume_is_counted_once_and_said_before_anything_is_walked(
    two_volumes: Station, start_both: StartBoth
) -> None:
    start_both({"kestrel": KESTRELS_DRIVE, "heron": HERONS_DRIVE})
    two_volumes.mirror("kestrel/recordings", "kestrel/second")
    text = two_volumes.estate_file.read_text().replace("heron:pool/recordings", "kestrel:main/second")
    two_volumes.estate_file.write_text(text)

    audited = two_volumes.night()

    assert copy_of(audited, "field-recordings").standing is Standing.PROVEN
    assert finding(audited, "enough-copies").measured.startswith("1 proven and apart")
    assert dataset_of(audited, "field-recordings").conclusion is Conclusion.NONCONFORMING
    said = [f.message for f in dataset_of(audited, "field-recordings").findings if f.rule == "feasibility"]
    assert any("can never have more than 1 apart from each other" in message for message in said)

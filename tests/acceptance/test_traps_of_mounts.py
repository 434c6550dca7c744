"""Ways in which mounts say "covered" while it is not: what is hidden, replaced, read-only or full."""

from __future__ import annotations

import subprocess
from collections.abc import Callable, Iterator
from datetime import timedelta
from pathlib import Path

import pytest

from coverage_audit.judgement.verdict import Answer, Conclusion, Standing
from tests.acceptance.test_a_mirror_that_stopped import ESTATE as TWO_FOLDERS
from tests.parts.loops import LoopVolume, MakeVolume
from tests.parts.machines import Shows, StartMachine
from tests.parts.sshd import Box, StartSshd
from tests.parts.station import Station, copy_of, dataset_of
from tests.parts.two_boxes import ESTATE as TWO_BOXES
from tests.parts.two_boxes import HERONS_DRIVE, KESTRELS_DRIVE, declare, fill, reached

pytestmark = pytest.mark.root

Cover = Callable[[Path], None]


@pytest.fixture
def cover(tmp_path: Path) -> Iterator[Cover]:
    """Give a way to mount an empty folder over one with files in it."""
    covered: list[Path] = []

    def over(place: Path) -> None:
        empty = tmp_path / f"empty-{len(covered)}"
        empty.mkdir()
        subprocess.run(["mount", "--bind", str(empty), str(place)], check=True)  # the device number stays the same
        covered.append(place)

    yield over
    for place in reversed(covered):
        subprocess.run(["umount", str(place)], check=True)


@pytest.fixture
def recorded(station: Station) -> Station:
    station.declare(TWO_FOLDERS)
    for number in range(20):
        folder = "night" if number % 2 else "day"
        station.write(f"kestrel/recordings/{folder}/take-{number}.wav", bytes(100 + number))
    station.mirror("kestrel/recordings", "heron/recordings")
    return station


def behind_ssh(station: Station, box: Box) -> None:
    """Declare the same estate with both devices reached over SSH."""
    station.declare("    rehearsal: true" + TWO_BOXES % _reached(box, box))


def _reached(kestrel: Box, heron: Box) -> dict[str, str]:
    return {"kestrel": reached(kestrel), "heron": reached(heron), "more": "", "stored": "", "site": "barn"}


def test_files_hidden_below_a_mount_over_a_folder_of_the_original_are_unknown(recorded: Station, cover: Cover) -> None:
    cover(recorded.root / "kestrel/recordings/night")
    recorded.mirror("kestrel/recordings", "heron/recordings")  # it takes the empty folder for the truth

    audited = recorded.night()

    original = dataset_of(audited, "field-recordings").original
    assert original.standing is Standing.UNVERIFIED
    assert "night" in original.reason
    assert "another filesystem is mounted here" in original.reason
    assert audited.judged.conclusion is Conclusion.UNVERIFIED


def test_files_hidden_below_a_mount_on_a_box_over_ssh_are_unknown(
    recorded: Station, cover: Cover, start_sshd: StartSshd
) -> None:
    cover(recorded.root / "kestrel/recordings/night")
    recorded.mirror("kestrel/recordings", "heron/recordings")
    behind_ssh(recorded, start_sshd())

    audited = recorded.night()

    assert "another filesystem is mounted here" in dataset_of(audited, "field-recordings").original.reason
    assert audited.judged.conclusion is Conclusion.UNVERIFIED


def test_a_mount_over_a_folder_of_the_copy_makes_absence_below_it_unknown(recorded: Station, cover: Cover) -> None:
    recorded.night()
    cover(recorded.root / "heron/recordings/night")

    copy = copy_of(recorded.night(), "field-recordings")

    assert copy.standing is Standing.UNVERIFIED
    assert copy.comparison is not None
    assert copy.comparison.blind_copy


def test_a_part_of_the_original_below_its_bare_mount_point_is_not_the_original(
    recorded: Station, make_volume: MakeVolume
) -> None:
    for number in range(10):  # written before the disk was mounted; the copy holds every one of them
        recorded.write(f"disk/recordings/day/take-{2 * number}.wav", bytes(100 + 2 * number))
    disk = make_volume(recorded.root / "disk")
    recorded.mirror("kestrel", "disk")
    recorded.estate_file.write_text(recorded.estate_file.read_text().replace('/kestrel"', '/disk"'))
    assert recorded.night().judged.conclusion is Conclusion.CONFORMING
    disk.unmount()

    audited = recorded.night()

    original = dataset_of(audited, "field-recordings").original
    assert original.standing is Standing.UNVERIFIED
    assert "the original's volume is not the one pinned" in original.reason
    assert audited.judged.conclusion is Conclusion.UNVERIFIED


def test_another_disk_mounted_over_the_original_is_not_the_original(recorded: Station, make_volume: MakeVolume) -> None:
    make_volume(recorded.root / "kestrel-2")
    recorded.mirror("kestrel", "kestrel-2")
    text = recorded.estate_file.read_text().replace('/kestrel"', '/kestrel-2"')
    recorded.estate_file.write_text(text)
    assert recorded.night().judged.conclusion is Conclusion.CONFORMING
    make_volume(recorded.root / "kestrel-2")  # the first disk, with files written since, lies below it now
    recorded.mirror("heron/recordings", "kestrel-2/recordings")

    audited = recorded.night()

    assert dataset_of(audited, "field-recordings").original.standing is Standing.UNVERIFIED
    assert audited.judged.conclusion is Conclusion.UNVERIFIED


def test_test_data_on_a_new_box_in_place_of_the_real_tree_is_not_the_copy(
    station: Station, make_volume: MakeVolume, start_machine: StartMachine
) -> None:
    here, there = make_volume(station.root / "kestrel"), make_volume(station.root / "heron")
    fill(station)
    kestrel = start_machine("kestrel", Shows(drives={here.folder: KESTRELS_DRIVE}))
    old = start_machine("heron", Shows(drives={there.folder: HERONS_DRIVE}))
    declare(station, reached(kestrel), reached(old))
    assert dataset_of(station.night(), "field-recordings").conclusion is Conclusion.CONFORMING

    there.unmount()
    new_disk = make_volume(there.folder)
    station.mirror("kestrel/recordings", "heron/recordings")
    new = start_machine("heron-2", Shows(drives={new_disk.folder: "HERON-DRIVE-2"}))
    declare(station, reached(kestrel), reached(new))  # migrated, and the owner has made its host key known
    audited = station.night()

    copy = copy_of(audited, "field-recordings")
    assert copy.standing is Standing.UNVERIFIED
    for fact in ("machine id was", "host key was", "filesystem UUID was", HERONS_DRIVE):
        assert fact in copy.reason
    assert dataset_of(audited, "field-recordings").conclusion is Conclusion.UNVERIFIED
    assert station.command("preflight", "--accept", "heron:pool").status == 0
    assert dataset_of(station.night(), "field-recordings").conclusion is Conclusion.CONFORMING


@pytest.fixture
def on_disks(station: Station, make_volume: MakeVolume) -> tuple[Station, LoopVolume]:
    """The dataset with its copy on a small disk of its own."""
    station.declare(TWO_FOLDERS)
    disk = make_volume(station.root / "heron", size=16)
    for number in range(20):
        station.write(f"kestrel/recordings/take-{number}.wav", bytes(100 + number))
    station.mirror("kestrel/recordings", "heron/recordings")
    return station, disk


def test_a_copy_on_a_read_only_mount_is_observed_before_it_is_stale(on_disks: tuple[Station, LoopVolume]) -> None:
    station, disk = on_disks
    subprocess.run(["mount", "-o", "remount,ro", str(disk.folder)], check=True)

    audited = station.night()

    assert audited.judged.conclusion is Conclusion.CONFORMING
    observed = next(
        f for f in dataset_of(audited, "field-recordings").findings if "mount" in f.rule and "heron" in f.id
    )
    assert observed.answer is Answer.OBSERVATION
    assert "read-only" in observed.message
    assert "mounted read-only, so nothing new can come to it" in " ".join(station.command("audit").out.split())


def test_a_full_copy_is_observed_and_what_no_longer_fits_makes_it_stale(on_disks: tuple[Station, LoopVolume]) -> None:
    station, disk = on_disks
    subprocess.run(["dd", "if=/dev/zero", f"of={disk.folder}/ballast", "bs=64K"], check=False, capture_output=True)
    station.night()
    station.pass_time(timedelta(hours=20))
    station.write("kestrel/recordings/long-take.wav", bytes(200), age=timedelta(hours=1))
    station.night()
    station.pass_time(timedelta(days=2))

    audited = station.night()

    assert copy_of(audited, "field-recordings").standing is Standing.STALE
    observed = next(
        f for f in dataset_of(audited, "field-recordings").findings if "mount" in f.rule and "heron" in f.id
    )
    assert observed.answer is Answer.OBSERVATION
    assert "it is full: 0 bytes are free" in observed.message

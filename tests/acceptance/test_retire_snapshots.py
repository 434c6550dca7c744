"""What of a filesystem lies beside the tree that is walked: deleted files in snapshots, all around a bound part."""

from __future__ import annotations

import subprocess

import pytest

from tests.acceptance.test_retire import ESTATE, retired
from tests.parts.loops import MakeVolume
from tests.parts.station import Station
from tests.parts.subvolumes import snapshot, subvolume

pytestmark = pytest.mark.root


@pytest.mark.parametrize("beside", [False, True], ids=["within the volume", "outside of what is mounted"])
def test_a_deleted_file_in_a_btrfs_snapshot_on_the_device_is_named(
    station: Station, make_volume: MakeVolume, *, beside: bool
) -> None:
    station.declare(ESTATE if not beside else ESTATE.replace("{root}/kestrel", "{root}/kestrel/live"))
    make_volume(station.root / "kestrel", "btrfs", 128)
    live = "kestrel/live" if beside else "kestrel"
    if beside:
        subvolume(station.root / live)
    subvolume(station.root / live / "recordings")
    station.write(f"{live}/recordings/dawn.wav", b"d" * 30_000)
    deleted = station.write(f"{live}/recordings/dusk.wav", b"k" * 31_000)
    snapshot(station.root / live / "recordings", station.root / "kestrel/snapshots/monday")
    deleted.unlink()
    for place in ("heron", "avocet"):
        station.mirror(f"{live}/recordings", f"{place}/recordings")
    ran = retired(station, "kestrel", "--hash", "all")
    if beside:
        named = [one["what"] for one in ran.object["not_observed"]]  # in a rehearsal it is named and no more
        assert f"kestrel: the filesystem at {station.root}/kestrel" in named
    else:
        assert ran.object["verdict"] == "not clear"
        assert [one["path"] for one in ran.object["only_here"]] == ["snapshots/monday/dusk.wav"]


def test_what_lies_around_the_part_of_a_filesystem_that_is_bound_there_is_named(
    station: Station, make_volume: MakeVolume
) -> None:
    station.declare(ESTATE)
    station.write("kestrel/recordings/dawn.wav", b"d" * 30_000)
    for place in ("heron", "avocet"):
        station.mirror("kestrel/recordings", f"{place}/recordings")
    around, part = make_volume(station.root / "around"), station.root / "avocet/part"
    station.write("around/part/letter.txt", b"dear ranger")
    station.write("around/alone.txt", b"seen by nobody")
    station.write("heron/letter.txt", b"dear ranger")
    part.mkdir()
    subprocess.run(["mount", "--bind", station.root / "around/part", part], check=True)
    try:
        around.unmount()
        ran = retired(station, "avocet", "--hash", "all")
    finally:
        subprocess.run(["umount", part], check=True)
    assert ran.object["held_elsewhere"]["files"] == 2, "the part itself is looked into"
    assert f"avocet: the filesystem at {part}" in [one["what"] for one in ran.object["not_observed"]]

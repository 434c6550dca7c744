"""Before hardware leaves: real folders, real boxes over SSH, and whether each file on them exists somewhere else."""

from __future__ import annotations

import os
import shutil
from datetime import timedelta

import pytest

from tests.parts.sshd import StartSshd
from tests.parts.station import ORDINARY, Ran, Station

ESTATE = """\
    sites: {station: {}, barn: {}}
    devices:
      kestrel:
        site: station
        access: local
        volumes:
          main: {path: "{root}/kestrel", medium: hdd, on_root: true}
      heron:
        site: barn
        access: local
        volumes:
          pool: {path: "{root}/heron", medium: hdd, on_root: true}
      avocet:
        site: barn
        access: local
        volumes:
          disk: {path: "{root}/avocet", medium: ssd, on_root: true}
    policies:
      plain: {copies: 2, max_age: 26h}
    datasets:
      field-recordings:
        policy: plain
        original: kestrel:main/recordings
        copies:
          - at: heron:pool/recordings
          - at: avocet:disk/recordings
        leave_out: ["*.part"]
    rehearsal: true
"""


@pytest.fixture
def kept(station: Station) -> Station:
    """An ordinary box: a dataset with its original there and two copies, all alike."""
    station.declare(ESTATE)
    station.write("kestrel/recordings/dawn.wav", b"d" * 30_000)
    station.write("kestrel/recordings/dusk.wav", b"k" * 30_000)
    station.write("kestrel/recordings/notes/heard.txt", b"a wren, twice")
    copies(station)
    return station


def copies(station: Station) -> None:
    for place in ("heron", "avocet"):
        station.mirror("kestrel/recordings", f"{place}/recordings")


def retired(station: Station, *words: str) -> Ran:
    return station.called("retire", *words, "--json")


def only_here(ran: Ran) -> set[str]:
    return {one["path"] for one in ran.object["only_here"]}


def test_an_ordinary_well_kept_box_is_clear_once_all_content_is_read(kept: Station) -> None:
    for box in ("avocet", "heron", "kestrel"):
        ran = retired(kept, box, "--hash", "all")
        assert (ran.object["verdict"], ran.status) == ("clear", 0), ran.object["steps"]
        assert ran.object["only_here"] == ran.object["breaks"] == ran.object["steps"] == []
        assert ran.object["held_elsewhere"]["files"] == 3


def test_what_place_size_and_time_show_to_agree_is_not_enough(kept: Station) -> None:
    ran = retired(kept, "avocet")
    assert (ran.object["verdict"], ran.status) == ("cannot tell", 69)
    assert ran.object["by_listing_only"]["files"] == 3
    assert ran.object["by_listing_only"]["seconds"] is not None
    assert any("--hash all" in step for step in ran.object["steps"])


def test_a_file_of_other_content_under_the_same_name_size_and_time_is_only_here_once_read(kept: Station) -> None:
    file = kept.root / "avocet/recordings/dawn.wav"
    before = file.stat()
    file.write_bytes(b"D" * 30_000)
    os.utime(file, ns=(before.st_atime_ns, before.st_mtime_ns))
    assert retired(kept, "avocet").object["verdict"] == "cannot tell"
    ran = retired(kept, "avocet", "--hash", "all")
    assert (ran.object["verdict"], ran.status) == ("not clear", 1)
    assert only_here(ran) == {"recordings/dawn.wav"}


def test_a_file_that_was_moved_and_renamed_elsewhere_is_found_by_its_content(kept: Station) -> None:
    kept.write("avocet/old letters/to the ranger.txt", b"dear ranger, " * 900)
    assert only_here(retired(kept, "avocet", "--hash", "all")) == {"old letters/to the ranger.txt"}
    kept.write("heron/archive/1998/17.txt", b"dear ranger, " * 900, age=timedelta(days=3))
    ran = retired(kept, "avocet")
    assert only_here(ran) == set()
    assert ran.object["held_elsewhere"]["files"] == 1
    assert retired(kept, "avocet", "--hash", "all").object["verdict"] == "clear"


def test_a_file_that_no_other_has_the_size_of_is_only_here_and_is_not_read_for_that(kept: Station) -> None:
    kept.write("avocet/lone.bin", b"x" * 1_234_567)
    ran = retired(kept, "avocet", "--hash", "all")
    assert (ran.object["verdict"], ran.status) == ("not clear", 1)
    (lone,) = ran.object["only_here"]
    assert (lone["path"], lone["volume"], lone["bytes"], lone["dataset"]) == (
        "lone.bin",
        "avocet:disk",
        1_234_567,
        None,
    )
    assert ran.object["read"]["bytes"] < 1_000_000
    assert "Copy 1 file (1.2 MB)" in ran.object["steps"][0]


def test_two_boxes_that_are_each_safe_to_lose_are_not_both(kept: Station) -> None:
    kept.write("heron/extra.txt", b"the same in both")
    kept.write("avocet/extra.txt", b"the same in both")
    assert retired(kept, "heron", "--hash", "all").object["verdict"] == "clear"
    assert retired(kept, "avocet", "--hash", "all").object["verdict"] == "clear"
    ran = retired(kept, "heron", "avocet", "--hash", "all")
    assert ran.object["verdict"] == "not clear"
    assert only_here(ran) == {"extra.txt"}
    assert {one["dataset"] for one in ran.object["breaks"]} == {"field-recordings"}


def test_a_dataset_that_would_not_conform_without_it_is_named_with_the_rule(kept: Station) -> None:
    kept.declare(ESTATE.replace("copies: 2", "copies: 3"))
    ran = retired(kept, "avocet", "--hash", "all")
    assert (ran.object["verdict"], ran.status) == ("not clear", 1)
    assert ("field-recordings", "enough-copies") in {(one["dataset"], one["rule"]) for one in ran.object["breaks"]}


def test_what_need_not_be_kept_is_said_with_who_and_why_and_stands_in_the_answer(kept: Station) -> None:
    kept.write("avocet/cache/tiles.bin", b"x" * 4321)
    assert retired(kept, "avocet", "--hash", "all").object["verdict"] == "not clear"
    assert kept.command("retire", "avocet", "--not-kept", "/cache/").status == 64
    words = ("--not-kept", "/cache/", "--who", "Aoife", "--why", "fetched again")
    ran = retired(kept, "avocet", "--hash", "all", *words)
    assert ran.object["verdict"] == "clear"
    told = {(one["pattern"], one["who"], one["files"]) for one in ran.object["not_kept"]}
    assert ("/cache/", "Aoife", 1) in told


def test_what_a_dataset_leaves_out_must_be_kept_unless_it_is_said_otherwise(kept: Station) -> None:
    kept.write("kestrel/recordings/take.part", b"half a take")
    ran = retired(kept, "kestrel", "--hash", "all")
    assert only_here(ran) == {"recordings/take.part"}
    assert ran.object["classes"]["left_out"] == {"files": 1, "bytes": 11}


@pytest.mark.root
def test_an_unreadable_folder_cannot_be_told_unless_it_is_named(kept: Station) -> None:
    kept.write("avocet/locked/x.bin", b"x" * 100)
    (kept.root / "avocet/locked").chmod(0)
    ran = kept.command("retire", "avocet", "--hash", "all", "--json", prefix=ORDINARY)
    assert (ran.object["verdict"], ran.status) == ("cannot tell", 69)
    assert any("locked" in one["what"] for one in ran.object["not_observed"])
    words = ("--not-kept", "/locked/", "--who", "Aoife", "--why", "nothing of ours")
    ran = kept.command("retire", "avocet", "--hash", "all", "--json", *words, prefix=ORDINARY)
    assert ran.object["verdict"] == "clear"


def test_a_copy_that_only_a_listing_of_last_week_shows_does_not_make_it_clear(kept: Station) -> None:
    kept.declare(ESTATE.replace("copies: 2", "copies: 1"))
    kept.night()
    shutil.rmtree(kept.root / "avocet")
    shutil.move(kept.root / "heron", kept.root / "away")
    ran = retired(kept, "kestrel", "--hash", "all")
    assert ran.object["verdict"] != "clear"
    assert ran.status != 0


def test_a_file_that_a_dated_folder_on_the_device_holds_alone_is_named(kept: Station) -> None:
    kept.write("avocet/.points/2026-11-20T030000Z/recordings/deleted.wav", b"gone since " * 99)
    ran = retired(kept, "avocet", "--hash", "all")
    assert ran.object["verdict"] == "not clear"
    assert only_here(ran) == {".points/2026-11-20T030000Z/recordings/deleted.wav"}


def test_a_box_over_ssh_is_held_against_one_here(kept: Station, start_sshd: StartSshd) -> None:
    box = start_sshd().access
    access = (
        f'{{ssh: "{box.user}@127.0.0.1:{box.port}", identity_file: "{box.identity_file}", '
        f'known_hosts: "{box.known_hosts}", config_file: "{box.config_file}"}}'
    )
    kept.declare(ESTATE.replace("site: barn\n        access: local", f"site: barn\n        access: {access}", 1))
    kept.write("heron/moved.bin", b"carried over " * 99)
    kept.write("kestrel/elsewhere/under another name", b"carried over " * 99, age=timedelta(days=2))
    assert retired(kept, "heron", "--hash", "all").object["verdict"] == "clear"
    kept.write("heron/lone.bin", b"c" * 99)
    assert only_here(retired(kept, "heron", "--hash", "all")) == {"lone.bin"}

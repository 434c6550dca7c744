"""Before hardware leaves: real folders, real boxes over SSH, and whether each file on them exists somewhere else."""

from __future__ import annotations

import csv
import io
import json
import os
import shutil
import subprocess
from datetime import timedelta

import jsonschema
import pytest

from coverage_audit.estate.shipped import defaults_folder
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


def agrees_with_its_schema(ran: Ran) -> None:
    schema = json.loads((defaults_folder() / "retire.schema.json").read_text(encoding="utf-8"))
    jsonschema.Draft202012Validator(schema).validate(ran.object)
    assert set(ran.object) == set(schema["properties"])


def only_here(ran: Ran) -> set[str]:
    return {one["path"] for one in ran.object["only_here"]}


def test_an_ordinary_well_kept_box_is_clear_once_all_content_is_read(kept: Station) -> None:
    for box in ("avocet", "heron", "kestrel"):
        ran = retired(kept, box, "--hash", "all")
        assert (ran.object["verdict"], ran.status) == ("clear", 0), ran.object["steps"]
        assert ran.object["only_here"] == ran.object["breaks"] == ran.object["steps"] == []
        assert ran.object["held_elsewhere"]["files"] == 3
        agrees_with_its_schema(ran)


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
    moved = kept.write("heron/archive/1998/17.txt", b"dear ranger, " * 900, age=timedelta(days=3))
    ran = retired(kept, "avocet")
    assert only_here(ran) == set()
    assert ran.object["held_elsewhere"]["files"] == 1
    assert retired(kept, "avocet", "--hash", "all").object["verdict"] == "clear"
    moved.unlink()
    assert only_here(retired(kept, "avocet", "--hash", "all")) == {"old letters/to the ranger.txt"}


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


def test_all_that_breaks_of_a_dataset_is_one_step_and_each_rule_is_told_apart(kept: Station) -> None:
    kept.declare(ESTATE.replace("copies: 2", "copies: 3, media: 2"))  # avocet's is the only other medium
    ran = retired(kept, "avocet", "--hash", "all")
    rules = {one["rule"] for one in ran.object["breaks"]}
    assert {"enough-copies", "media"} <= rules
    (step,) = ran.object["steps"]
    assert step.startswith("field-recordings would not conform: ")
    assert all(f"({rule})" in step for rule in rules)


def test_what_cannot_be_told_of_a_dataset_is_one_step_that_names_each_rule(kept: Station) -> None:
    shutil.move(kept.root / "heron", kept.root / "away")
    ran = retired(kept, "avocet", "--hash", "all")
    assert ran.object["verdict"] == "cannot tell"
    rules = {one["rule"] for one in ran.object["breaks"]}
    assert {"enough-copies", "completeness"} < rules
    (step,) = (step for step in ran.object["steps"] if step.startswith("Whether field-recordings would conform"))
    assert all(rule in step for rule in rules)


def test_what_need_not_be_kept_is_said_with_who_and_why_and_stands_in_the_answer(kept: Station) -> None:
    kept.write("avocet/cache/tiles.bin", b"x" * 4321)
    assert retired(kept, "avocet", "--hash", "all").object["verdict"] == "not clear"
    assert kept.command("retire", "avocet", "--not-kept", "/cache/").status == 64
    for nothing in ("", "# cache", "[z-a]"):
        assert kept.called("retire", "avocet", "--not-kept", nothing, "--who", "Aoife", "--why", "old").status == 64
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
    (named,) = (one for one in ran.object["not_observed"] if "locked" in one["what"])
    assert ("Aoife: nothing of ours" in named["why"], named["blocks"]) == (True, False)


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


def test_digests_of_an_earlier_reading_count_while_size_mtime_and_ctime_stand(kept: Station) -> None:
    assert retired(kept, "avocet", "--hash", "all").object["verdict"] == "clear"
    again = retired(kept, "avocet")
    assert again.object["verdict"] == "clear"
    assert again.object["read"]["files"] == 0
    assert again.object["read"]["remembered"] == 9
    (kept.root / "heron/recordings/dawn.wav").chmod(0o600)
    (kept.root / "kestrel/recordings/dawn.wav").chmod(0o600)
    changed = retired(kept, "avocet")
    assert changed.object["verdict"] == "cannot tell"
    assert changed.object["by_listing_only"]["files"] == 1


def test_what_was_once_found_to_have_decayed_is_not_remembered_as_what_it_was(kept: Station) -> None:
    for box in ("avocet", "heron"):
        kept.write(f"{box}/loose.bin", b"what both hold " * 50)
    assert retired(kept, "avocet", "--hash", "all").object["verdict"] == "clear"
    assert retired(kept, "avocet").object["read"]["files"] == 0
    decayed = {"spoilt": [{"at": "heron:pool", "path_hex": b"loose.bin".hex()}]}
    (kept.state / "retirements/earlier.json").write_text(json.dumps(decayed), encoding="utf-8")
    ran = retired(kept, "avocet")
    assert ran.object["read"]["files"] == 1
    assert ran.object["verdict"] == "clear"


def test_an_original_that_leaves_is_judged_with_the_best_copy_or_the_one_that_is_named(kept: Station) -> None:
    ran = retired(kept, "kestrel", "--hash", "all")
    (dataset,) = ran.object["datasets"]
    assert dataset["original"] in {"heron:pool/recordings", "avocet:disk/recordings"}
    assert dataset["original_moved"] is True
    named = retired(kept, "kestrel", "--hash", "all", "--original", "field-recordings=avocet:disk/recordings")
    assert named.object["datasets"][0]["original"] == "avocet:disk/recordings"
    assert named.object["verdict"] == "clear"
    for wrong in ("field-recordings=kestrel:main/recordings", "nothing=heron:pool/x", "field-recordings"):
        assert kept.called("retire", "kestrel", "--original", wrong).status == 64


def test_a_dataset_of_which_nothing_stays_to_work_on_is_not_clear(kept: Station) -> None:
    ran = retired(kept, "kestrel", "heron", "avocet", "--hash", "all")
    assert (ran.object["verdict"], ran.status) == ("not clear", 1)
    assert ("field-recordings", "original") in {(one["dataset"], one["rule"]) for one in ran.object["breaks"]}
    assert len(only_here(ran)) == 3


def test_a_copy_that_is_the_same_folder_bound_elsewhere_is_no_place_that_stays(kept: Station) -> None:
    shutil.rmtree(kept.root / "heron")
    (kept.root / "heron").symlink_to(kept.root / "kestrel")
    ran = retired(kept, "kestrel", "avocet", "--hash", "all")
    assert ran.object["verdict"] == "not clear"
    assert {"dawn.wav", "dusk.wav", "heard.txt"} <= {path.rpartition("/")[2] for path in only_here(ran)}
    assert any("one folder" in why for why in ran.object["falls_with_it"])


@pytest.mark.root
def test_a_copy_that_is_a_bind_mount_of_what_leaves_goes_with_it(kept: Station) -> None:
    subprocess.run(["mount", "--bind", kept.root / "avocet", kept.root / "heron"], check=True)
    try:
        ran = retired(kept, "avocet", "--hash", "all")
        kept.write("avocet/lone.bin", b"seen twice, there once")
        lone = retired(kept, "avocet", "--hash", "all")
    finally:
        subprocess.run(["umount", kept.root / "heron"], check=True)
    assert ran.object["volumes"] == ["avocet:disk", "heron:pool"]
    assert "lone.bin" in only_here(lone)


def test_guests_and_what_is_stored_on_it_fall_with_their_host(kept: Station) -> None:
    text = ESTATE.replace(
        "      avocet:\n        site: barn\n", "      avocet:\n        site: barn\n        runs_on: heron\n"
    )
    kept.declare(text)
    kept.write("avocet/extra.txt", b"only in the guest")
    ran = retired(kept, "heron", "--hash", "all")
    assert ran.object["volumes"] == ["avocet:disk", "heron:pool"]
    assert ran.object["falls_with_it"] == ["avocet runs on heron"]
    assert only_here(ran) == {"extra.txt"}


def test_one_volume_of_a_box_may_leave_and_the_other_stays(kept: Station) -> None:
    kept.declare(
        ESTATE.replace(
            'disk: {path: "{root}/avocet", medium: ssd, on_root: true}',
            'disk: {path: "{root}/avocet", medium: ssd, on_root: true}\n'
            '          spare: {path: "{root}/spare", medium: ssd, on_root: true}',
        )
    )
    kept.write("avocet/kept.txt", b"on both volumes of one box")
    kept.write("spare/kept.txt", b"on both volumes of one box")
    ran = retired(kept, "avocet:spare", "--hash", "all")
    assert (ran.object["verdict"], ran.object["volumes"]) == ("clear", ["avocet:spare"])
    assert only_here(retired(kept, "avocet", "--hash", "all")) == {"kept.txt"}


def test_names_that_differ_in_case_and_hard_links_and_empty_files_are_each_counted(kept: Station) -> None:
    kept.write("avocet/Letter.txt", b"one")
    kept.write("avocet/letter.txt", b"two")
    kept.write("heron/LETTER.TXT", b"two")
    kept.write("avocet/empty", b"")
    kept.write("heron/other empty", b"")
    os.link(kept.root / "avocet/letter.txt", kept.root / "avocet/linked.txt")
    (kept.root / "avocet/out").symlink_to("/etc/hostname")
    ran = retired(kept, "avocet", "--hash", "all")
    assert only_here(ran) == {"Letter.txt"}
    classes = ran.object["classes"]
    assert (classes["hard_linked"]["files"], classes["empty"], classes["links"], classes["links_out"]) == (2, 1, 1, 1)


def test_hostile_names_reach_neither_terminal_nor_list_as_they_are(kept: Station) -> None:
    kept.write("avocet/=cmd|' /C calc'!A0", b"a formula?")
    kept.write("avocet/evil\n\x1b[31mname", b"escape")
    kept.write(os.fsdecode(b"avocet/\xff<script>"), b"markup!!")
    folder = kept.root / "dossier"
    ran = kept.command("retire", "avocet", "--hash", "all", "--dossier", str(folder))
    assert "\x1b" not in ran.out
    listed = list(csv.reader(io.StringIO((folder / "only-here.csv").read_text(encoding="utf-8"), newline="")))
    assert len(listed) == 4
    assert all(line[0].startswith("avocet:disk/") for line in listed[1:])
    page = (folder / "dossier.html").read_text(encoding="utf-8")
    assert "<script>" not in page
    assert "\x1b" not in page


def test_the_dossier_has_all_that_is_needed_to_sign_and_to_go_on(kept: Station) -> None:
    folder = kept.root / "dossier"
    words = ("--not-kept", "/cache/", "--who", "Aoife", "--why", "fetched again")
    ran = kept.command("retire", "avocet", "--hash", "all", *words, "--dossier", str(folder))
    assert ran.status == 0
    assert sorted(file.name for file in folder.iterdir()) == ["dossier.html", "only-here.csv", "retire.json"]
    page = (folder / "dossier.html").read_text(encoding="utf-8")
    for needed in (
        "avocet: clear",
        "Aoife",
        "Released by",
        "SP 800-88",
        "Solid-state drives",
        "Revoke its keys",
        "Lithium",
    ):
        assert needed in page
    assert "Hard disks" not in page
    assert "http" not in page.replace("http-equiv", "")
    assert json.loads((folder / "retire.json").read_text(encoding="utf-8"))["verdict"] == "clear"
    assert list((kept.state / "retirements").iterdir())


def test_what_is_not_declared_is_refused_with_the_nearest(kept: Station) -> None:
    assert "did you mean 'avocet'?" in kept.command("retire", "avoct").err
    assert kept.called("retire", "avocet:dsk").status == 64
    assert kept.called("retire").status == 64


def test_an_empty_mount_point_is_not_taken_for_an_empty_box(kept: Station) -> None:
    kept.declare(ESTATE.replace("    rehearsal: true\n", "").replace(", medium: ssd, on_root: true", ", medium: ssd"))
    shutil.rmtree(kept.root / "avocet")
    (kept.root / "avocet").mkdir()
    ran = retired(kept, "avocet", "--hash", "all")
    assert ran.object["verdict"] != "clear"
    assert any("avocet:disk" in one["what"] for one in ran.object["not_observed"])


def test_a_copy_whose_root_is_a_link_to_the_original_holds_nothing_of_it(kept: Station) -> None:
    shutil.rmtree(kept.root / "heron/recordings")
    (kept.root / "heron/recordings").symlink_to(kept.root / "kestrel/recordings")
    audit = kept.called("audit", "--json")
    (heron, _) = audit.object["datasets"][0]["copies"]
    assert heron["standing"] != "proven"
    assert "a link leads out of the volume" in audit.out
    for leaving in (("kestrel",), ("kestrel", "avocet")):
        ran = retired(kept, *leaving, "--hash", "all")
        assert ran.object["verdict"] != "clear", leaving
        assert ran.status in {1, 69}
        assert ran.object["breaks"]


def test_an_original_that_is_not_there_is_said_and_nothing_else(kept: Station) -> None:
    ran = kept.called("retire", "kestrel", "--original", "field-recordings=heron:pool/nix")
    assert ran.status == 64
    assert "there is nothing at heron:pool/nix" in ran.err
    assert not ran.out


def test_what_is_waved_away_is_counted_in_the_first_line(kept: Station) -> None:
    kept.write("kestrel/alone.txt", b"only here")
    ran = kept.called(
        "retire", "kestrel", "--not-kept", "*", "--who", "Aoife", "--why", "all of it is old", "--hash", "all"
    )
    first = " ".join(ran.out.partition("\n\n")[0].split())
    assert "; 4 files (60.0 kB" in first
    assert "need not be kept, as its owner says (3 files of datasets among them)" in first


def test_one_reason_of_many_files_is_said_once_and_no_time_is_made_up_without_a_link(kept: Station) -> None:
    for number in range(20):
        kept.write(f"kestrel/letters/{number}.txt", b"x" * (100_000 + number))
    out = " ".join(kept.called("retire", "kestrel").out.split())
    reason = "none of its size is elsewhere"
    names = [f"kestrel:main/letters/{number}.txt" for number in range(20)]
    assert all(name in out for name in names)
    assert out.count(reason) == 1, out
    assert "How long it takes is not known without the `link` of kestrel and" in out


def test_a_drive_that_was_asked_about_does_not_go_too(kept: Station) -> None:
    text = kept.estate_file.read_text(encoding="utf-8")
    kept.estate_file.write_text(
        text.replace(
            "medium: ssd", "medium: ssd, drives: [{size: 4 TB}, {size: 4 TB}], parity: {kind: mirror, drives: 1}"
        )
    )
    ran = kept.called("retire", "avocet:disk#1", "--hash", "all")
    assert "avocet:disk#1 is a drive of avocet:disk" in ran.out
    assert "goes too" not in ran.out

"""Drives that lie on a shelf: recorded when they are plugged in, judged by that, and said when they stay."""

from __future__ import annotations

import subprocess
from contextlib import suppress
from dataclasses import replace
from datetime import timedelta
from pathlib import Path

import pytest

from coverage_audit.audits.recording import plan_recording, take
from coverage_audit.estate.model import DeviceId
from coverage_audit.evidence.store import keyed_again
from coverage_audit.judgement.verdict import Answer, Finding, Standing
from coverage_audit.ledger.portable import write_portable
from coverage_audit.wiring import assembled
from tests.parts.loops import LoopVolume, MakeVolume
from tests.parts.machines import Shows, StartMachine
from tests.parts.station import Station, copy_of, dataset_of
from tests.parts.two_boxes import reached

pytestmark = pytest.mark.root

ESTATE = """
    sites:
      station: {name: Field station}
      barn: {name: Long Barn}
    devices:
      kestrel:
        site: station
        access: %(kestrel)s
        volumes: {main: {path: "{root}/kestrel", medium: hdd}}
      shelf-b:
        site: barn
        access: shelf
        volumes: {drive: {medium: ssd, offline: true}}
      shelf-c:
        site: barn
        access: shelf
        volumes: {drive: {medium: ssd, offline: true}}
    policies:
      careful: {copies: 2, offsite: 1, offline: 1, max_age: 26h}
    datasets:
      field-recordings:
        policy: careful
        original: kestrel:main/recordings
        copies:
          - {at: shelf-b:drive/recordings, max_age: 35d}
          - {at: shelf-c:drive/recordings, max_age: 35d}
"""
DAY = timedelta(days=1)


@pytest.fixture
def drive(station: Station, make_volume: MakeVolume) -> LoopVolume:
    """The original on kestrel, and shelf-b as it was brought into line and plugged in."""
    make_volume(station.root / "kestrel")
    for number in range(6):
        station.write(f"kestrel/recordings/take-{number}.wav", bytes(100 + number))
    made = make_volume(station.root / "plugged")
    station.mirror("kestrel/recordings", "plugged/recordings")
    station.declare(ESTATE % {"kestrel": "local"})
    return made


def plugged(station: Station, *more: str) -> tuple[str, ...]:
    return ("manifest", str(station.root / "plugged/recordings"), "--for", "shelf-b:drive/recordings", *more)


def finding(station_findings: tuple[Finding, ...], rule: str) -> Finding:
    (found,) = (one for one in station_findings if one.rule == rule)
    return found


def test_a_drive_that_was_never_recorded_is_unverified_and_says_what_to_type(
    station: Station, drive: LoopVolume
) -> None:
    drive.unmount()

    copy = copy_of(station.night(), "field-recordings")

    assert copy.standing is Standing.UNVERIFIED
    assert "coverage-audit manifest PATH --for shelf-b:drive/recordings" in copy.reason


def test_a_drive_is_recorded_unplugged_and_judged_by_its_record(station: Station, drive: LoopVolume) -> None:
    ran = station.command(*plugged(station))
    assert ran.status == 0, ran.err
    assert "shelf-b:drive/recordings: 6 entries, 6 files" in ran.out
    assert ran.out.endswith("recorded, you may unplug it\n")
    drive.unmount()

    copy = copy_of(station.night(), "field-recordings")

    assert copy.standing is Standing.PROVEN, copy.reason
    assert any("plug it in by" in remark for remark in copy.remarks)


@pytest.mark.parametrize("wanted", ["shelf-b:drive/recordings", "shelf-b:drive"])
def test_a_folder_of_that_name_further_down_the_drive_is_another_place(
    station: Station, drive: LoopVolume, wanted: str
) -> None:
    """The last season's folder is whole, and nothing of this season's."""
    station.mirror("plugged/recordings", "plugged/2025/recordings")
    folder = station.root / "plugged/2025" / ("recordings" if wanted.endswith("recordings") else "")

    ran = station.command("manifest", str(folder), "--for", wanted)

    assert ran.status != 0
    assert f"the drive is mounted at {drive.folder}" in ran.err
    assert f"2025/recordings is not what is declared, {drive.folder}/recordings would be" in ran.err
    assert copy_of(station.night(), "field-recordings").standing is Standing.UNVERIFIED


def test_what_was_recorded_counts_until_it_is_older_than_the_copy_may_be(station: Station, drive: LoopVolume) -> None:
    assert station.command(*plugged(station)).status == 0
    due = (station.now() + 35 * DAY).date()
    drive.unmount()
    station.pass_time(34 * DAY)
    assert copy_of(station.night(), "field-recordings").standing is Standing.PROVEN

    station.pass_time(2 * DAY)
    audited = station.night()

    copy = copy_of(audited, "field-recordings")
    assert copy.standing is Standing.UNVERIFIED
    assert f"was to be plugged in by {due}" in copy.reason
    mends = [f.mend for f in dataset_of(audited, "field-recordings").findings if "shelf-b" in f.subject]
    assert any(f"Plug shelf-b in by {due}" in mend for mend in mends)


def test_what_came_to_the_original_later_than_the_record_may_be_is_held_against_it(
    station: Station, drive: LoopVolume
) -> None:
    assert station.command(*plugged(station)).status == 0
    drive.unmount()
    station.night()
    station.write("kestrel/recordings/new.wav", b"new", age=timedelta(0))
    assert copy_of(station.night(), "field-recordings").standing is Standing.PROVEN, "pending"
    for _ in range(3):
        station.pass_time(11 * DAY)
        copy = copy_of(station.night(), "field-recordings")
        assert copy.standing is Standing.PROVEN, copy.reason


def test_another_drive_in_its_place_is_refused_until_it_is_accepted(
    station: Station, drive: LoopVolume, make_volume: MakeVolume
) -> None:
    assert station.command(*plugged(station)).status == 0
    drive.unmount()
    other = make_volume(station.root / "plugged")
    station.mirror("kestrel/recordings", "plugged/recordings")

    refused = station.command(*plugged(station))

    assert refused.status == 69
    assert "not the drive that is pinned" in refused.err
    assert "filesystem UUID was" in refused.err
    assert station.command(*plugged(station, "--accept")).status == 0
    other.unmount()
    assert copy_of(station.night(), "field-recordings").standing is Standing.PROVEN


def test_what_was_recorded_of_a_drive_before_another_was_accepted_is_no_evidence_any_more(
    station: Station, drive: LoopVolume, make_volume: MakeVolume
) -> None:
    assert station.command(*plugged(station)).status == 0
    drive.unmount()
    make_volume(station.root / "plugged").folder.joinpath("recordings").mkdir()
    assert station.command(*plugged(station, "--accept")).status == 0

    copy = copy_of(station.night(), "field-recordings")

    assert copy.standing is Standing.INCOMPLETE, copy.reason


def test_a_drive_seen_attached_is_recorded_by_itself_and_said(station: Station, drive: LoopVolume) -> None:
    assert station.command(*plugged(station)).status == 0
    station.pass_time(40 * DAY)

    ran = station.command("audit", "--json")
    audited = station.night()

    assert copy_of(audited, "field-recordings").standing is Standing.PROVEN
    said = finding(audited.judged.findings, "shelf-drives")
    assert said.answer is Answer.OBSERVATION
    assert "shelf-b was seen attached to kestrel and recorded; you may unplug it" in said.message
    assert "shelf-b was seen attached to kestrel and recorded" in ran.out
    drive.unmount()
    station.pass_time(30 * DAY)
    assert copy_of(station.night(), "field-recordings").standing is Standing.PROVEN


def test_a_folder_that_is_gone_from_the_drive_is_news_that_outlives_unplugging_it(
    station: Station, drive: LoopVolume
) -> None:
    assert station.command(*plugged(station)).status == 0
    (drive.folder / "recordings").rename(drive.folder / "elsewhere")
    assert copy_of(station.night(), "field-recordings").standing is Standing.INCOMPLETE
    drive.unmount()

    assert copy_of(station.night(), "field-recordings").standing is Standing.INCOMPLETE


def test_a_drive_that_stays_attached_is_at_its_hosts_site_and_not_offline(station: Station, drive: LoopVolume) -> None:
    assert station.command(*plugged(station)).status == 0
    station.night()
    station.pass_time(2 * DAY)
    within = {f.rule: f for f in dataset_of(station.night(), "field-recordings").findings}
    assert within["offline"].measured == "1 (up to 2) offline", "plugged in for a while is on the shelf still"

    station.pass_time(2 * DAY)
    audited = station.night()

    rules = {f.rule: f for f in dataset_of(audited, "field-recordings").findings}
    assert "not offline: shelf-b:drive has been attached to kestrel since" in rules["offline"].message
    assert rules["offsite"].measured.startswith("0")
    said = finding(audited.judged.findings, "shelf-drives").message
    assert "was there at every audit" in said
    assert "not offline" in said
    drive.unmount()
    station.night()
    drive.mount()
    assert "every audit" not in finding(station.night().judged.findings, "shelf-drives").message


def test_a_clone_attached_beside_its_twin_makes_neither_evidence(station: Station, drive: LoopVolume) -> None:
    assert station.command(*plugged(station)).status == 0
    drive.unmount()
    image = station.root / "clone.img"
    image.write_bytes(drive.image.read_bytes())
    drive.mount()
    clone = LoopVolume(image=image, folder=station.root / "clone")
    clone.folder.mkdir()
    clone.mount()
    try:
        audited = station.night()
    finally:
        clone.unmount()

    copy = copy_of(audited, "field-recordings")
    assert copy.standing is Standing.UNVERIFIED
    assert "2 drives with its filesystem UUID are attached at once" in copy.reason
    assert "neither counts as evidence" in finding(audited.judged.findings, "shelf-drives").message


def test_two_drives_taking_turns_are_each_judged_by_their_own_age(
    station: Station, drive: LoopVolume, make_volume: MakeVolume
) -> None:
    assert station.command(*plugged(station)).status == 0
    drive.unmount()
    station.pass_time(20 * DAY)
    turn = make_volume(station.root / "turn")
    station.mirror("kestrel/recordings", "turn/recordings")
    first = station.command("manifest", str(turn.folder / "recordings"), "--for", "shelf-c:drive/recordings")
    assert first.status == 0, first.err
    station.night()  # the station's clock is ahead of the command's: seen attached, it is recorded by that
    turn.unmount()
    station.pass_time(20 * DAY)

    audited = station.night()

    assert copy_of(audited, "field-recordings", 0).standing is Standing.UNVERIFIED
    assert copy_of(audited, "field-recordings", 1).standing is Standing.PROVEN


def test_a_drive_plugged_into_a_box_is_recorded_over_ssh_and_is_apart_from_that_box(
    station: Station, drive: LoopVolume, start_machine: StartMachine
) -> None:
    shows = Shows(drives={station.root / "kestrel": "KESTREL-DRIVE-1", drive.folder: "SHELF-DRIVE-B"})
    station.declare(ESTATE % {"kestrel": reached(start_machine("kestrel", shows))})

    ran = station.command(*plugged(station, "--on", "kestrel"))

    assert ran.status == 0, ran.err
    assert "drive SHELF-DRIVE-B" in ran.out
    drive.unmount()
    audited = station.night()
    rules = {f.rule: f for f in dataset_of(audited, "field-recordings").findings}
    assert copy_of(audited, "field-recordings").standing is Standing.PROVEN
    assert rules["enough-copies"].answer is Answer.CONFORMITY, rules["enough-copies"].message
    assert rules["offsite"].answer is Answer.CONFORMITY
    assert rules["offline"].answer is Answer.CONFORMITY


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("manifest",), "name the folder and the address"),
        (("manifest", "/mnt"), "name the folder and the address"),
        (("manifest", "/mnt", "--for", "shelf-z:drive/recordings"), "no volume 'shelf-z:drive'"),
        (("manifest", "/mnt", "--for", "kestrel:main/recordings"), "kestrel is no shelf drive"),
        (("manifest", "/mnt/elsewhere", "--for", "shelf-b:drive/elsewhere"), "no dataset has a copy at"),
        (("manifest", "/mnt", "--for", "shelf-b:drive/recordings"), "does not end in 'recordings'"),
        (("manifest", "/mnt/recordings", "--for", "shelf-b:drive/recordings", "--on", "nobody"), "no device 'nobody'"),
        (("manifest", "/mnt/recordings", "--for", "shelf-b:drive/recordings", "--on", "shelf-c"), "is a shelf drive"),
    ],
)
def test_wrong_words_get_one_clear_message(station: Station, words: tuple[str, ...], said: str) -> None:
    station.declare(ESTATE % {"kestrel": "local"})

    ran = station.command(*words)

    assert ran.status == 64
    assert said in ran.err
    assert len(ran.err.splitlines()) == 1


def test_a_folder_of_the_machine_itself_is_no_drive(station: Station, tmp_path: Path) -> None:
    station.declare(ESTATE % {"kestrel": "local"})
    (tmp_path / "recordings").mkdir()

    ran = station.command("manifest", str(tmp_path / "recordings"), "--for", "shelf-b:drive/recordings")

    assert ran.status == 69
    assert "nothing is mounted at" in ran.err


def test_digests_are_recorded_here_and_over_ssh_and_hold_against_a_file_of_one_size_and_time(
    station: Station, drive: LoopVolume, start_machine: StartMachine
) -> None:
    shows = Shows(drives={station.root / "kestrel": "KESTREL-DRIVE-1", drive.folder: "SHELF-DRIVE-B"})
    station.declare(ESTATE % {"kestrel": reached(start_machine("kestrel", shows))})

    far = station.command(*plugged(station, "--on", "kestrel", "--digests"))
    near = station.command(*plugged(station, "--digests", "--to", str(station.root / "carried")))

    assert far.status == 0, far.err
    assert "6 files with a sha256 digest" in far.out
    assert near.status == 0, near.err
    assert "6 files with a sha256 digest" in near.out


def test_a_record_is_carried_from_one_state_folder_into_another(station: Station, drive: LoopVolume) -> None:
    file = station.root / "shelf-b.manifest"
    ran = station.command(*plugged(station, "--to", str(file)))
    assert ran.status == 0, ran.err
    assert f"written to {file}, you may unplug it" in ran.out
    drive.unmount()
    assert copy_of(station.night(), "field-recordings").standing is Standing.UNVERIFIED, "nothing is recorded here"
    station.state = station.root / "another-state"

    brought = station.command("manifest", "--from", str(file))

    assert brought.status == 0, brought.err
    assert copy_of(station.night(), "field-recordings").standing is Standing.PROVEN
    again = station.command("manifest", "--from", str(file))
    assert again.status == 74
    assert "is recorded already" in again.err


def test_a_file_that_is_damaged_or_for_no_place_of_the_estate_is_no_evidence(
    station: Station, drive: LoopVolume
) -> None:
    file = station.root / "shelf-b.manifest"
    assert station.command(*plugged(station, "--to", str(file))).status == 0
    drive.unmount()
    whole = file.read_bytes()

    for spoilt in (whole[:-1], whole[: len(whole) // 2], whole.replace(b"shelf-b", b"shelf-x"), b""):
        file.write_bytes(spoilt)
        ran = station.command("manifest", "--from", str(file))
        assert ran.status == 74, ran.err
        assert "is no evidence" in ran.err
    file.write_bytes(whole)
    nowhere = station.command("manifest", "--from", str(file), "--for", "shelf-c:drive/elsewhere")
    assert nowhere.status == 64
    assert "no dataset has a copy at" in nowhere.err
    missing = station.command("manifest", "--from", str(station.root / "nothing"))
    assert missing.status == 74
    assert copy_of(station.night(), "field-recordings").standing is Standing.UNVERIFIED


def test_a_manifest_of_the_future_is_refused(station: Station, drive: LoopVolume) -> None:
    estate = station.estate
    file = station.root / "ahead"
    station.pass_time(3 * DAY)
    with assembled(estate, station.state, clock=station.now) as parts:
        words = (str(drive.folder / "recordings"), "shelf-b:drive/recordings", None)
        write_portable(file, take(estate, plan_recording(estate, *words), parts).trees)

    ran = station.command("manifest", "--from", str(file))

    assert ran.status == 74
    assert "which is to come" in ran.err


def test_a_manifest_whose_listing_ended_in_the_future_is_refused(station: Station, drive: LoopVolume) -> None:
    file, again = station.root / "ahead", station.root / "again.parquet"
    with assembled(station.estate, station.state, clock=station.now) as parts:
        words = (str(drive.folder / "recordings"), "shelf-b:drive/recordings", None)
        (tree,) = take(station.estate, plan_recording(station.estate, *words), parts).trees
        origin = replace(tree.manifest.origin, finished=tree.at + 3 * DAY)
        manifest = keyed_again(tree.manifest, again, parts.work.seed, parts.work.memory, origin=origin)
        write_portable(file, [replace(tree, manifest=manifest)])

    ran = station.command("manifest", "--from", str(file))

    assert ran.status == 74, ran.out
    assert "which is to come" in ran.err


def test_a_recording_that_is_killed_leaves_nothing(station: Station, drive: LoopVolume) -> None:
    for number in range(3000):
        station.write(f"{drive.folder.name}/recordings/many/{number}", b"x")
    for moment in (0.3, 0.6, 0.9, 1.2):
        with suppress(subprocess.TimeoutExpired):
            station.command(*plugged(station, "--digests"), limit=moment)
        with assembled(station.estate, station.state) as parts:
            recorded = parts.ledger.shelf_trees(DeviceId("shelf-b"))
            assert len(list((station.state / "manifests").iterdir())) == len(recorded)
            for tree in recorded:
                assert tree.manifest.census.files == 3006
    assert station.command(*plugged(station, "--digests")).status == 0


def test_a_drive_seen_attached_to_a_box_over_ssh_is_recorded_by_itself(
    station: Station, drive: LoopVolume, start_machine: StartMachine
) -> None:
    shows = Shows(drives={station.root / "kestrel": "KESTREL-DRIVE-1", drive.folder: "SHELF-DRIVE-B"})
    station.declare(ESTATE % {"kestrel": reached(start_machine("kestrel", shows))})
    assert station.command(*plugged(station, "--on", "kestrel")).status == 0
    station.write("plugged/recordings/more.wav", b"more")

    audited = station.night()

    assert "seen attached to kestrel and recorded" in finding(audited.judged.findings, "shelf-drives").message
    copy = copy_of(audited, "field-recordings")
    assert copy.standing is Standing.PROVEN, copy.reason
    assert copy.comparison is not None
    assert copy.comparison.extra.files == 1, "it was walked anew"


def test_a_known_drive_that_shows_another_serial_is_no_evidence(
    station: Station, drive: LoopVolume, start_machine: StartMachine
) -> None:
    shown = {station.root / "kestrel": "KESTREL-DRIVE-1", drive.folder: "SHELF-DRIVE-B"}
    station.declare(ESTATE % {"kestrel": reached(start_machine("kestrel", Shows(drives=shown)))})
    assert station.command(*plugged(station, "--on", "kestrel")).status == 0
    another = Shows(drives={**shown, drive.folder: "A-CLONE-OF-B"})
    station.declare(ESTATE % {"kestrel": reached(start_machine("kestrel-again", another))})

    audited = station.night()

    copy = copy_of(audited, "field-recordings")
    assert copy.standing is Standing.UNVERIFIED
    assert "SHELF-DRIVE-B is not shown any more" in copy.reason
    assert "was not recorded" in finding(audited.judged.findings, "shelf-drives").message


def test_a_whole_drive_with_dated_folders_is_recorded_and_judged_by_its_newest_point(
    station: Station, drive: LoopVolume
) -> None:
    point = f"{station.now() - DAY:%Y-%m-%d}"
    station.mirror("kestrel/recordings", f"plugged/nightly/{point}")
    text = station.estate_file.read_text()
    dated = '{at: "shelf-c:drive/recordings", max_age: 35d}'
    by_point = '{at: "shelf-b:drive/nightly/{point}", max_age: 35d, points: {folders: "%Y-%m-%d"}}'
    station.estate_file.write_text(text.replace(dated.replace('"', ""), by_point))

    ran = station.command("manifest", str(drive.folder), "--for", "shelf-b:drive")

    assert ran.status == 0, ran.err
    assert f"its newest recovery point, nightly/{point}" in ran.out
    drive.unmount()
    audited = station.night()
    assert copy_of(audited, "field-recordings", 0).standing is Standing.PROVEN
    newest = copy_of(audited, "field-recordings", 1)
    assert newest.standing is Standing.PROVEN, newest.reason
    assert newest.evidence.point is not None
    assert newest.evidence.point.name == point

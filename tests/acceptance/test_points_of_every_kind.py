"""Whole audits of copies with recovery points of every kind."""

from __future__ import annotations

import json
import os
import shutil
from datetime import timedelta
from pathlib import Path

import pytest

from coverage_audit.audits.audit import Audited
from coverage_audit.estate.model import Proof
from coverage_audit.evidence.facts import DatedBy, Gap, PointList
from coverage_audit.judgement.verdict import Conclusion, JudgedCopy, Standing
from tests.parts.gates import force_gate, install_gate
from tests.parts.loops import MakeVolume
from tests.parts.pools import POOL, Pool
from tests.parts.sshd import StartSshd
from tests.parts.station import Station, copy_of, dataset_of
from tests.parts.subvolumes import sent, set_writable, snapshot, subvolume, writable_snapshot
from tests.parts.two_boxes import reached

ESTATE = """
    rehearsal: true
    sites:
      station: {name: Field station}
      barn: {name: Long Barn}
    devices:
      kestrel:
        site: station
        access: local
        volumes: {main: {path: "{root}/kestrel", medium: hdd}}
      heron:
        site: barn
        access: %(access)s
        %(more)s
        volumes: {pool: {path: "{root}/heron", medium: hdd}}
      avocet:
        site: barn
        access: local
        volumes: {pool: {path: "{root}/avocet", medium: ssd}}
    policies:
      careful: {copies: %(needed)d, max_age: 26h, proof: %(proof)s}
    datasets:
      field-recordings:
        policy: careful
        original: kestrel:main/recordings
        copies:
%(copies)s
"""


def declare(
    station: Station,
    *copies: tuple[str, str],
    proof: str = "dated",
    access: str = "local",
    more: str = "",
    needed: int = 2,
) -> None:
    """Declare the copies, each by its address (on heron unless it says another) and its points."""
    (station.root / "avocet").mkdir(exist_ok=True)
    places = [(at if ":" in at else f"heron:pool/{at}", points) for at, points in copies]
    lines = [f'          - at: "{at}"\n            points: {points}' for at, points in places]
    filled = {"proof": proof, "access": access, "more": more, "needed": needed, "copies": "\n".join(lines)}
    station.declare(ESTATE % filled)


@pytest.fixture
def recorded(station: Station) -> Station:
    for number in range(20):
        station.write(f"kestrel/recordings/take-{number}.wav", os.urandom(100 + number))
    (station.root / "heron").mkdir()
    return station


def seen(audited: Audited, number: int = 0) -> tuple[JudgedCopy, PointList]:
    copy = copy_of(audited, "field-recordings", number)
    assert isinstance(copy.evidence.points, PointList), copy.evidence.points
    return copy, copy.evidence.points


def dump(station: Station, age: timedelta, size: int = 5000, shape: str = "%Y-%m-%dT%H%M%SZ.img") -> Path:
    """A dated file on heron, of the time that its name says."""
    name = (station.now() - age).strftime(shape)
    return station.write(f"heron/dumps/{name}", bytes(size), age=age - timedelta(minutes=5))


FILES = ("dumps/{point}", "files")


def test_dated_files_prove_by_date_where_that_is_enough_and_are_said_to_be_unopened(recorded: Station) -> None:
    declare(recorded, FILES)
    for days in range(4):
        dump(recorded, timedelta(days=days, hours=3), 5000 + days)

    audited = recorded.night()

    copy, points = seen(audited)
    assert copy.standing is Standing.PROVEN
    assert copy.proof is Proof.DATED
    assert copy.comparison is None
    assert [point.size for point in points.points] == [5003, 5002, 5001, 5000]
    assert any("never opened" in remark for remark in copy.remarks)
    assert audited.judged.conclusion is Conclusion.CONFORMING
    ran = recorded.command("audit", "--json")
    assert ran.object["datasets"][0]["copies"][0]["proof"] == "dated"


def test_where_a_listing_is_asked_they_never_count_and_that_is_told_from_the_start(recorded: Station) -> None:
    declare(recorded, FILES, proof="listed")
    dump(recorded, timedelta(hours=3))

    audited = recorded.night()

    assert seen(audited)[0].standing is Standing.UNVERIFIED
    assert audited.judged.conclusion is Conclusion.NONCONFORMING
    rules = {finding.rule for finding in dataset_of(audited, "field-recordings").findings}
    assert "feasibility" in rules
    assert "say `proof: dated`" in recorded.command("audit").err + recorded.command("preflight").out


@pytest.mark.parametrize("size", [0, 64])
def test_a_dump_that_came_out_empty_or_as_an_error_text_is_no_point(recorded: Station, size: int) -> None:
    declare(recorded, FILES)
    for days in range(3, 7):
        dump(recorded, timedelta(days=days))
    for days in range(3):
        dump(recorded, timedelta(days=days, hours=3), size)

    audited = recorded.night()

    copy, points = seen(audited)
    assert copy.standing is Standing.STALE
    assert len(points.points) == 4
    assert audited.judged.conclusion is Conclusion.NONCONFORMING


def test_an_old_dump_under_a_new_name_is_as_old_as_it_is(recorded: Station) -> None:
    declare(recorded, FILES)
    dump(recorded, timedelta(hours=3))
    recorded.stamp(str(next((recorded.root / "heron/dumps").iterdir()).relative_to(recorded.root)), timedelta(days=9))

    copy, _ = seen(recorded.night())

    assert copy.standing is Standing.STALE
    assert any("before the time that its name says" in remark for remark in copy.remarks)


def test_an_empty_folder_of_dumps_holds_nothing(recorded: Station) -> None:
    declare(recorded, FILES)
    (recorded.root / "heron/dumps").mkdir()

    copy, _ = seen(recorded.night())

    assert copy.standing is Standing.INCOMPLETE


def test_folders_named_in_a_usual_spelling_need_no_pattern(recorded: Station) -> None:
    declare(recorded, ("points/{point}", "folders"), proof="listed", more="time_zone: Pacific/Auckland")
    for days in (1, 0):
        when = recorded.now() - timedelta(days=days, hours=3)
        folder = recorded.root / "heron/points" / f"nightly-{when:%Y%m%dT%H%M%SZ}-30d"
        shutil.copytree(recorded.root / "kestrel/recordings", folder)
    (recorded.root / "heron/points/25-11-2026").mkdir()

    audited = recorded.night()

    copy, points = seen(audited)
    assert copy.standing is Standing.PROVEN
    assert len(points.points) == 2
    assert "day or month first" in dict(points.refused)["25-11-2026"]
    assert audited.judged.conclusion is Conclusion.CONFORMING


def test_evidence_of_dates_lasts_as_long_as_a_box_may_be_off(recorded: Station, start_sshd: StartSshd) -> None:
    box = start_sshd()
    declare(recorded, FILES, access=reached(box), more="may_be_off: 1d")
    dump(recorded, timedelta(hours=1))
    assert seen(recorded.night())[0].standing is Standing.PROVEN
    recorded.pass_time(timedelta(hours=5))
    declare(recorded, FILES, access=reached(box, port=1), more="may_be_off: 1d")

    copy, _ = seen(recorded.night())
    assert copy.standing is Standing.PROVEN
    assert any("not in this audit" in remark for remark in copy.remarks)

    recorded.pass_time(timedelta(days=2))
    late = copy_of(recorded.night(), "field-recordings")
    assert late.standing is not Standing.PROVEN


@pytest.fixture
def on_btrfs(station: Station, make_volume: MakeVolume) -> Station:
    """Heron's volume is btrfs, its mirror a subvolume that holds all recordings."""
    for number in range(20):
        station.write(f"kestrel/recordings/take-{number}.wav", os.urandom(100 + number))
    make_volume(station.root / "heron", "btrfs")
    subvolume(station.root / "heron/mirror")
    station.mirror("kestrel/recordings", "heron/mirror")
    return station


@pytest.mark.root
def test_btrfs_and_dated_folders_of_one_subvolume_agree(on_btrfs: Station) -> None:
    named = on_btrfs.now().strftime("%Y-%m-%dT%H%M%SZ")
    snapshot(on_btrfs.root / "heron/mirror", on_btrfs.root / "heron/points" / named)
    found = []
    for points in ("{btrfs: {snapshot_of: mirror}}", "folders", '{folders: "%Y-%m-%dT%H%M%SZ"}'):
        declare(on_btrfs, ("points/{point}", points), proof="listed")
        on_btrfs.pass_time(timedelta(seconds=5))
        audited = on_btrfs.night()
        copy, listed = seen(audited)
        assert copy.standing is Standing.PROVEN, copy.reason
        assert copy.proof is Proof.LISTED
        found.append(listed.points[0])

    by_filesystem, *by_name = found
    assert by_filesystem.dated_by is DatedBy.FILESYSTEM
    assert {point.name for point in found} == {named}
    assert all(abs(point.earliest - by_filesystem.earliest) < timedelta(seconds=3) for point in by_name)


@pytest.mark.root
def test_a_snapshot_of_another_subvolume_is_not_accepted_however_like_it_looks(on_btrfs: Station) -> None:
    declare(on_btrfs, ("points/{point}", "{btrfs: {snapshot_of: mirror}}"), proof="listed")
    other = subvolume(on_btrfs.root / "heron/other")
    shutil.copytree(on_btrfs.root / "heron/mirror", other, dirs_exist_ok=True)
    snapshot(other, on_btrfs.root / "heron/points/2026-11-25")
    writable_snapshot(on_btrfs.root / "heron/mirror", on_btrfs.root / "heron/points/2026-11-26")

    audited = on_btrfs.night()

    copy, points = seen(audited)
    assert copy.standing is Standing.UNVERIFIED
    assert points.points == ()
    assert "no snapshot of the declared subvolume" in copy.reason
    assert audited.judged.conclusion is Conclusion.UNVERIFIED


@pytest.mark.root
def test_received_snapshots_count_when_they_are_whole_and_untouched(on_btrfs: Station, make_volume: MakeVolume) -> None:
    make_volume(on_btrfs.root / "second", "btrfs")
    declare(on_btrfs, ("points/{point}", "{btrfs: received}"), proof="listed")
    station, source = on_btrfs, on_btrfs.root / "second/recordings"
    subvolume(source)
    station.mirror("kestrel/recordings", "second/recordings")
    spelt = "%Y-%m-%d_%H-%M-%SZ"
    ages = (timedelta(days=1, hours=1), timedelta(hours=2), timedelta(hours=1))
    whole, half, touched = ((station.now() - age).strftime(spelt) for age in ages)
    for name in (whole, half, touched):
        made = snapshot(source, station.root / "second/kept" / name)
        sent(made, station.root / "heron/points", cut=2000 if name == half else None)
    set_writable(station.root / "heron/points" / touched, writable=True)
    (station.root / "heron/points" / touched / "take-1.wav").unlink()
    set_writable(station.root / "heron/points" / touched, writable=False)

    copy, points = seen(station.night())

    assert [point.name for point in points.points] == [whole]
    assert "half made" in dict(points.refused)[half]
    assert "made writable since" in dict(points.refused)[touched]
    assert copy.standing is Standing.PROVEN


@pytest.mark.root
def test_snapshots_of_a_real_pool_prove_by_date(recorded: Station, pool_of_zfs: Pool) -> None:
    pool_of_zfs.zfs("create", f"{POOL}/recordings")
    pool_of_zfs.zfs("snapshot", f"{POOL}/recordings@nightly")
    recorded.pass_time(timedelta(hours=1))
    declare(recorded, ("recordings", f"{{zfs: {POOL}/recordings}}"), ("gone", f"{{zfs: {POOL}/gone}}"))

    audited = recorded.night()

    copy, points = seen(audited)
    assert copy.standing is Standing.PROVEN
    assert points.points[0].earliest.timestamp() == pool_of_zfs.figure(f"{POOL}/recordings@nightly", "creation")
    gone = copy_of(audited, "field-recordings", 1)
    assert gone.standing is Standing.UNVERIFIED
    assert "does not show" in gone.reason


@pytest.mark.root
def test_one_snapshot_under_two_copies_is_counted_once(recorded: Station, pool_of_zfs: Pool) -> None:
    pool_of_zfs.zfs("create", f"{POOL}/recordings")
    pool_of_zfs.zfs("snapshot", f"{POOL}/recordings@nightly")
    recorded.pass_time(timedelta(hours=1))
    points = f"{{zfs: {POOL}/recordings}}"
    declare(recorded, ("recordings", points), ("avocet:pool/recordings", points), needed=3)

    audited = recorded.night()

    assert [copy_of(audited, "field-recordings", number).standing for number in (0, 1)] == [Standing.PROVEN] * 2
    assert audited.judged.conclusion is Conclusion.NONCONFORMING
    (enough,) = (f for f in dataset_of(audited, "field-recordings").findings if f.rule == "enough-copies")
    assert enough.measured.startswith("2 proven and apart")


def a_command(station: Station, printed: str, status: int = 0) -> Path:
    """A tool on heron that prints this."""
    tool = station.root / "list-points"
    (station.root / "printed").write_text(printed)
    tool.write_text(f'#!/bin/sh\ncat "{station.root}/printed"\nexit {status}\n')
    tool.chmod(0o755)
    return tool


@pytest.mark.parametrize("installed", [False, True], ids=["sent", "installed"])
def test_a_command_over_ssh_tells_its_points_with_and_without_an_installed_gate(
    recorded: Station,
    start_sshd: StartSshd,
    installed: bool,  # noqa: FBT001
) -> None:
    taken = [(recorded.now() - timedelta(days=days, hours=2)).isoformat(timespec="seconds") for days in (1, 0)]
    tool = a_command(recorded, json.dumps({"points": [{"taken": each} for each in taken]}))
    box = start_sshd()
    if installed:
        allowed = f"root {recorded.root}/heron\ncommand {tool} --json\n"
        force_gate(box, install_gate(recorded.root / "lib", allowed))
    declare(
        recorded,
        ("cold", f'{{command: ["{tool}", --json], json: "points[].taken"}}'),
        ("other", f'{{command: ["{tool}", --other], json: "points[].taken"}}'),
        access=reached(box),
    )

    audited = recorded.night()

    copy, points = seen(audited)
    assert copy.standing is Standing.PROVEN
    assert [point.earliest.isoformat() for point in points.points] == taken
    assert points.points[0].dated_by is DatedBy.COMMAND
    other = copy_of(audited, "field-recordings", 1)
    if installed:
        assert isinstance(other.evidence.points, Gap)
        assert "the gate refuses" in other.reason
    else:
        assert other.standing is Standing.PROVEN


@pytest.mark.parametrize(
    ("printed", "status", "standing"),
    [
        ('{"points": []}', 0, Standing.INCOMPLETE),
        ('{"pionts": []}', 0, Standing.UNVERIFIED),
        ("[]", 0, Standing.UNVERIFIED),
        ("", 0, Standing.UNVERIFIED),
        ('{"points": []}', 1, Standing.UNVERIFIED),
    ],
)
def test_nothing_told_is_nothing_held_only_where_the_answer_shows_it(
    recorded: Station, printed: str, status: int, standing: Standing
) -> None:
    tool = a_command(recorded, printed, status)
    declare(recorded, ("cold", f'{{command: ["{tool}"], json: "points[].taken"}}'))

    audited = recorded.night()

    assert copy_of(audited, "field-recordings").standing is standing
    assert audited.judged.conclusion is not Conclusion.CONFORMING

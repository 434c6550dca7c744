"""Copies that say they are safe and are not: real snapshots made writable, a copy mounted where the original lies."""

from __future__ import annotations

import shutil
import subprocess
from collections.abc import Iterator
from pathlib import Path

import pytest

from coverage_audit.audits.audit import Audited
from coverage_audit.judgement.verdict import Answer, Finding, Standing
from tests.parts.loops import MakeVolume
from tests.parts.machines import Shows, StartMachine
from tests.parts.sshd import Box, StartSshd
from tests.parts.station import Station, copy_of, dataset_of
from tests.parts.subvolumes import sent, set_writable, snapshot, subvolume
from tests.parts.tools import lacking
from tests.parts.two_boxes import HERONS_DRIVE, KESTRELS_DRIVE, StartBoth, declare, finding, reached

pytestmark = pytest.mark.root

ASKED = ("{copies: 2, offsite: 1, max_age: 26h}", "{copies: 2, offsite: 1, offline: 1, immutable: 1, max_age: 26h}")
BOTH_DRIVES = {"kestrel": KESTRELS_DRIVE, "heron": HERONS_DRIVE}


def rewrite(station: Station, *changes: tuple[str, str]) -> None:
    text = station.estate_file.read_text()
    for old, new in changes:
        assert old in text
        text = text.replace(old, new)
    station.estate_file.write_text(text)


def with_points(station: Station, points: str) -> None:
    """Declare the copy on heron as snapshots."""
    copy = f'[{{at: "heron:pool/points/{{point}}", points: {{btrfs: {points}}}}}]'
    rewrite(station, ASKED, ("[{at: heron:pool/recordings}]", copy))


def observed(audited: Audited) -> list[Finding]:
    return [f for f in dataset_of(audited, "field-recordings").findings if f.rule == "within-reach"]


@pytest.fixture
def on_btrfs(station: Station, make_volume: MakeVolume) -> Station:
    """The original on one filesystem, and a subvolume that holds the same on a btrfs of heron's."""
    make_volume(station.root / "kestrel")
    make_volume(station.root / "heron", "btrfs")
    for number in range(6):
        station.write(f"kestrel/recordings/take-{number}.wav", bytes(100 + number))
    subvolume(station.root / "heron/mirror")
    station.mirror("kestrel/recordings", "heron/mirror")
    return station


def test_a_snapshot_that_was_made_writable_and_read_only_again_is_shown_no_more(
    on_btrfs: Station, start_both: StartBoth
) -> None:
    point = snapshot(
        on_btrfs.root / "heron/mirror", on_btrfs.root / "heron/points" / f"{on_btrfs.now():%Y%m%dT%H%M%SZ}"
    )
    start_both(BOTH_DRIVES)
    with_points(on_btrfs, "{snapshot_of: mirror}")

    before = on_btrfs.night()
    set_writable(point, writable=True)
    (point / "slipped-in").write_bytes(b"x")
    set_writable(point, writable=False)
    after = on_btrfs.night()

    assert finding(before, "immutable").answer is Answer.CONFORMITY
    assert not observed(before)
    assert copy_of(after, "field-recordings").standing is Standing.PROVEN, "nothing that is listed differs"
    assert finding(after, "immutable").answer is Answer.UNVERIFIED
    (said,) = observed(after)
    assert f"“{point.name}” was changed after it was first listed" in said.message


def test_a_received_snapshot_that_was_made_writable_is_none_any_more(
    on_btrfs: Station, start_both: StartBoth, make_volume: MakeVolume
) -> None:
    away = make_volume(on_btrfs.root / "sender", "btrfs").folder
    subvolume(away / "recordings")
    on_btrfs.mirror("kestrel/recordings", "sender/recordings")
    name = f"{on_btrfs.now():%Y%m%dT%H%M%SZ}"
    sent(snapshot(away / "recordings", away / name), on_btrfs.root / "heron/points")
    start_both(BOTH_DRIVES)
    with_points(on_btrfs, "received")

    before = on_btrfs.night()
    point = on_btrfs.root / "heron/points" / name
    set_writable(point, writable=True)
    (point / "slipped-in").write_bytes(b"x")
    set_writable(point, writable=False)
    after = on_btrfs.night()

    assert finding(before, "immutable").answer is Answer.CONFORMITY
    assert finding(after, "immutable").answer is Answer.UNVERIFIED
    (said,) = observed(after)
    assert f"“{name}” was a recovery point before, and is none now" in said.message
    assert "was made writable since" in said.message


@pytest.fixture
def mounted() -> Iterator[list[Path]]:
    """Network mounts of the test; they are gone with it."""
    lacking("sshfs")
    folders: list[Path] = []
    yield folders
    for folder in folders:
        subprocess.run(["umount", "--lazy", str(folder)], check=False)


def mount_over_ssh(box: Box, source: Path, folder: Path, *options: str) -> None:
    """Mount what a box that calls itself heron serves."""
    folder.mkdir()
    config = folder.with_name("ssh_config")
    access = box.access
    config.write_text(
        f"Host heron\n  HostName 127.0.0.1\n  Port {access.port}\n  User {access.user}\n"
        f"  IdentityFile {access.identity_file}\n  StrictHostKeyChecking no\n  UserKnownHostsFile /dev/null\n"
    )
    words = ",".join(options) or "rw"
    subprocess.run(["sshfs", "-F", str(config), "-o", words, f"heron:{source}", str(folder)], check=True)


@pytest.mark.parametrize(
    ("options", "reached_from_there"), [((), True), (("ro",), False)], ids=["read-write", "read-only"]
)
def test_a_copy_that_the_originals_machine_has_mounted_is_neither_immutable_nor_offline(
    two_volumes: Station,
    start_machine: StartMachine,
    start_sshd: StartSshd,
    mounted: list[Path],
    options: tuple[str, ...],
    *,
    reached_from_there: bool,
) -> None:
    station = two_volumes
    shows = Shows(drives={station.root / name: serial for name, serial in BOTH_DRIVES.items()})
    heron = start_machine("heron", shows)
    folder = station.root / "mnt"
    mount_over_ssh(start_sshd("Subsystem sftp internal-sftp"), station.root / "heron", folder, *options)
    mounted.append(folder)
    kestrel = start_machine("kestrel", Shows(drives=shows.drives))
    declare(station, reached(kestrel), reached(heron), stored=", immutable: true, offline: true")
    rewrite(station, ASKED)

    audited = station.night()

    assert copy_of(audited, "field-recordings").standing is Standing.PROVEN
    asked = [finding(audited, rule) for rule in ("offline", "immutable")]
    expected = Answer.NONCONFORMITY if reached_from_there else Answer.UNVERIFIED
    assert [each.answer for each in asked] == [expected, expected]
    assert all((f"read-write at {folder}" in each.message) is reached_from_there for each in asked)
    assert bool(observed(audited)) is reached_from_there


def test_a_copy_that_is_a_share_of_its_original_mounted_inside_its_volume_is_none(
    two_volumes: Station, start_machine: StartMachine, start_sshd: StartSshd, mounted: list[Path]
) -> None:
    station = two_volumes
    shows = Shows(drives={station.root / name: serial for name, serial in BOTH_DRIVES.items()})
    share = station.root / "heron/recordings"
    shutil.rmtree(share)
    original = station.root / "kestrel/recordings"
    mount_over_ssh(start_sshd("Subsystem sftp internal-sftp"), original, share, "allow_other")
    mounted.append(share)
    heron, kestrel = start_machine("heron", shows), start_machine("kestrel", Shows(drives=shows.drives))
    declare(station, reached(kestrel), reached(heron))

    copy = copy_of(station.night(), "field-recordings")

    assert copy.standing is Standing.UNVERIFIED
    assert "inside of the volume, and lies on another machine" in copy.reason

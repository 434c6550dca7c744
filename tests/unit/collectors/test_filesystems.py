"""The filesystems that a box has mounted: by the real gate here, and by recorded and documented tables."""

from __future__ import annotations

import os
import shutil
import subprocess
from pathlib import Path

import pytest

from coverage_audit.collectors.filesystem_kinds import can_hold_data, is_network
from coverage_audit.collectors.readers import filesystems
from coverage_audit.collectors.transport import TransportError
from coverage_audit.evidence.facts import MountedFilesystem
from tests.builders.shell_reply import NONCE, answered, framed_reply
from tests.parts.loops import MakeVolume

SHELLS = [("dash",), ("busybox", "sh"), ("bash", "--posix")]

# Lines as proc_pid_mountinfo(5) has them; the blank, the tab and the newline in names are the kernel's octal escapes.
TABLE = rb"""21 27 0:20 / /proc rw,nosuid - proc proc rw
27 1 254:0 / / rw,relatime - ext4 /dev/vda1 rw
31 27 0:24 / /run rw,nosuid - tmpfs tmpfs rw
40 27 8:17 / /srv/new\040share rw,relatime shared:3 - ext4 /dev/sdb1 rw
41 27 0:44 / /mnt/far rw - nfs4 heron:/export rw,vers=4.2
42 27 0:45 /sub /srv/odd\012name\134x rw - btrfs /dev/sdc rw
43 27 7:0 / /snap/tool/1 ro - squashfs /dev/loop0 ro
44 27 0:46 / /var/lib/boxes/1/merged rw - overlay overlay rw
45 27 8:33 / /srv/twice rw - ext4 /dev/sdd1 rw
46 27 8:49 / /srv/twice rw - xfs /dev/sde1 rw
"""


def seen(*said: tuple[str, bytes]) -> dict[str, MountedFilesystem]:
    found = filesystems.parse(framed_reply(*said), 0, nonce=NONCE)
    return {each.target: each for each in found}


def test_what_can_hold_data_is_kept_and_the_kernels_own_views_are_not() -> None:
    assert list(seen(("mountinfo", TABLE))) == ["/", "/srv/new share", "/mnt/far", "/srv/odd\nname\\x", "/srv/twice"]


def test_names_come_out_exactly_and_networks_are_named_as_such() -> None:
    found = seen(("mountinfo", TABLE))
    assert found["/srv/new share"].source == "/dev/sdb1"
    assert found["/mnt/far"].is_network
    assert not found["/"].is_network
    assert found["/srv/odd\nname\\x"].fs_root == "/sub"


def test_of_two_mounts_of_one_place_the_later_is_what_is_seen_there() -> None:
    assert seen(("mountinfo", TABLE))["/srv/twice"].filesystem_type == "xfs"


def test_room_is_that_for_an_unprivileged_account_in_bytes() -> None:
    found = seen(("mountinfo", TABLE), ("space", b"40\n4096 1000 250"), ("df", b"27\n/dev/vda1 100 60 40 60% /"))
    assert (found["/srv/new share"].capacity, found["/srv/new share"].free) == (4_096_000, 1_024_000)
    assert (found["/"].capacity, found["/"].free) == (102_400, 40_960)
    assert found["/mnt/far"].capacity is None


def test_a_uuid_is_found_by_the_device_itself_before_older_records_of_it() -> None:
    said = [
        ("mountinfo", TABLE),
        ("node", b"8:17\n/dev/sdb1"),
        ("uuid_link", b"/dev/sdb1\nbbbb"),
        ("uuid_probe", b"8:17\naaaa"),
        ("node", b"0:45\n/dev/sdc"),
        ("uuid_btrfs", b"/dev/sdc\ncccc"),
        ("lsblk", b"/dev/sdb1 dddd\n/dev/vda1 \n"),
    ]
    found = seen(*said)
    assert found["/srv/new share"].uuid == "aaaa"
    assert found["/srv/odd\nname\\x"].uuid == "cccc"
    assert found["/"].uuid is None


def test_a_box_without_a_mount_table_is_read_by_the_form_of_fstab() -> None:
    # FreeBSD mount(8): "-p Print mount information in fstab(5) format"; fstab(5): blanks as octal escapes
    table = (
        b"/dev/ada0p2\t\t/\tufs\trw\t1 1\ndevfs /dev devfs rw 0 0\ntank/data /srv/new\\040share zfs rw,nfsv4acls 0 0\n"
    )
    rooms = b"/dev/ada0p2 1000 400 600 40% /\ntank/data 2000 500 1500 25% /srv/new share\n"
    found = seen(("fstab", table), ("dfs", rooms))
    assert {target: each.filesystem_type for target, each in found.items()} == {"/": "ufs", "/srv/new share": "zfs"}
    assert found["/srv/new share"].free == 1500 * 1024


def test_the_words_of_plain_mount_are_read_too() -> None:
    # OpenBSD mount(8): "device on directory type kind (options)"; others write the kind first in the brackets
    table = b"/dev/sd0a on / type ffs (local)\n/dev/disk3 on /Volumes/New share (apfs, local, journaled)\n"
    assert {t: e.filesystem_type for t, e in seen(("mount", table)).items()} == {
        "/": "ffs",
        "/Volumes/New share": "apfs",
    }


def test_an_answer_that_was_cut_is_none() -> None:
    reply = framed_reply(("mountinfo", TABLE))
    for end in range(len(reply)):
        with pytest.raises(TransportError):
            filesystems.parse(reply[:end], 0, nonce=NONCE)


@pytest.mark.parametrize("by", SHELLS)
def test_this_machine_shows_its_root_filesystem_as_statvfs_does(by: tuple[str, ...]) -> None:
    reply, status = answered(filesystems.request(NONCE), by=by, before=b"motd\n")
    found = {each.target: each for each in filesystems.parse(reply, status, nonce=NONCE)}
    whole = os.statvfs("/")
    assert found["/"].capacity == whole.f_frsize * whole.f_blocks
    assert "/proc" not in found


@pytest.mark.root
@pytest.mark.parametrize("by", SHELLS)
def test_a_filesystem_in_a_folder_with_a_hostile_name_is_seen_with_its_uuid(
    tmp_path: Path, make_volume: MakeVolume, by: tuple[str, ...]
) -> None:
    volume = make_volume(tmp_path / "new\nshare \\040 $(x) %s", size=16)
    reply, status = answered(filesystems.request(NONCE), by=by)
    found = {each.target: each for each in filesystems.parse(reply, status, nonce=NONCE)}[str(volume.folder)]
    blkid = shutil.which("blkid") or "blkid"
    wanted = subprocess.run([blkid, "-p", "-s", "UUID", "-o", "value", volume.image], capture_output=True, check=True)
    assert found.uuid == wanted.stdout.decode().strip()
    assert found.capacity == os.statvfs(volume.folder).f_frsize * os.statvfs(volume.folder).f_blocks


@pytest.mark.parametrize(("kind", "target"), [("ext4", "/a"), ("overlay", "/"), ("zfs", "/a"), ("nfs4", "/a")])
def test_these_kinds_hold_data_that_stays(kind: str, target: str) -> None:
    assert can_hold_data(kind, target)


@pytest.mark.parametrize(("kind", "target"), [("overlay", "/a"), ("tmpfs", "/a"), ("proc", "/a"), ("erofs", "/a")])
def test_these_kinds_hold_none(kind: str, target: str) -> None:
    assert not can_hold_data(kind, target)


def test_a_drive_read_through_fuse_is_no_network() -> None:
    assert not is_network("fuseblk", "/dev/sdb1")
    assert is_network("fuse.sshfs", "auditor@heron:/srv")

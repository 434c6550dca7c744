"""What a volume shows of itself: real loop mounts, and recorded replies of boxes that are not here."""

from __future__ import annotations

import contextlib
import os
import subprocess
from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path

import pytest

from coverage_audit.collectors.mounts import holder, mount_table
from coverage_audit.collectors.readers import volume_facts
from coverage_audit.collectors.transport import TransportError
from coverage_audit.estate.model import DeviceId, VolumeId, VolumeKey
from coverage_audit.evidence.facts import GapKind, VolumeFacts
from tests.builders.shell_reply import NONCE, answered, framed_reply

AT = datetime(2026, 11, 25, 4, 10, tzinfo=UTC)
KEY = VolumeKey(device=DeviceId("heron"), volume=VolumeId("pool"))
SHELLS = [("dash",), ("busybox", "sh"), ("bash", "--posix")]


def asked(path: Path | str, by: tuple[str, ...] = ("sh",)) -> VolumeFacts:
    reply, status = answered(volume_facts.request(str(path), NONCE), by=by, before=b"motd\n")
    return volume_facts.parse(reply, status, nonce=NONCE, volume=KEY, path=str(path), at=AT)


def read(*said: tuple[str, bytes]) -> VolumeFacts:
    reply = framed_reply(("here", b"/srv/pool"), *said)
    return volume_facts.parse(reply, 0, nonce=NONCE, volume=KEY, path="/srv/pool", at=AT)


def kind_of(path: Path | str) -> GapKind:
    with pytest.raises(TransportError) as refused:
        asked(path)
    return refused.value.kind


def run(*command: str | Path) -> str:
    return subprocess.run(command, capture_output=True, text=True, check=True, timeout=60).stdout.strip()


@contextlib.contextmanager
def mounted(what: Path | str, target: Path, *options: str) -> Iterator[Path]:
    target.mkdir(exist_ok=True)
    run("mount", *options, what, target)
    try:
        yield target
    finally:
        run("umount", target)


def image(folder: Path, name: str, filesystem: str) -> Path:
    file = folder / name
    with file.open("wb") as made:
        made.truncate(130_000_000)
    run(f"mkfs.{filesystem}", "-q", file)
    return file


@pytest.mark.parametrize("by", SHELLS)
def test_the_root_filesystem_is_known_as_such(by: tuple[str, ...]) -> None:
    facts = asked("/", by)
    whole = os.statvfs("/")
    assert facts.on_root is True
    assert facts.mount_target == "/"
    assert facts.capacity == whole.f_frsize * whole.f_blocks
    assert facts.inodes == (whole.f_files or None)


@pytest.mark.root
@pytest.mark.parametrize("by", SHELLS)
def test_a_loop_mount_shows_its_uuid_its_file_and_the_drive_below(tmp_path: Path, by: tuple[str, ...]) -> None:
    file = image(tmp_path, "image of 'heron'", "ext4")
    with mounted(file, tmp_path / "a volume", "-o", "loop,ro") as volume:
        facts = asked(volume, by)
        assert facts.filesystem_type == "ext4"
        assert facts.filesystem_uuid == run("blkid", "-p", "-s", "UUID", "-o", "value", file)
        assert facts.mount_target == str(volume)
        assert facts.mount_source == run("findmnt", "-no", "SOURCE", volume)
        assert facts.device_number == run("findmnt", "-no", "MAJ:MIN", volume)
        assert facts.backing_file == str(file)
        assert facts.read_only is True
        assert facts.on_root is False
        assert facts.drives == asked("/", by).drives


@pytest.mark.root
def test_subvolumes_of_one_filesystem_show_one_uuid_and_their_own_device_numbers(tmp_path: Path) -> None:
    with mounted(image(tmp_path, "image", "btrfs"), tmp_path / "m", "-o", "loop") as volume:
        run("btrfs", "subvolume", "create", volume / "mirror")
        top, below = asked(volume), asked(volume / "mirror")
        assert top.filesystem_uuid == below.filesystem_uuid == run("findmnt", "-no", "UUID", volume)
        assert top.device_number != below.device_number
        assert top.drives == below.drives == asked("/").drives
        assert top.inodes is None


@pytest.mark.root
def test_a_subvolume_that_is_mounted_says_which_part_of_the_filesystem_it_is(tmp_path: Path) -> None:
    file = image(tmp_path, "image", "btrfs")
    with mounted(file, tmp_path / "m", "-o", "loop") as volume:
        run("btrfs", "subvolume", "create", volume / "mirror")
        device = run("findmnt", "-no", "SOURCE", volume)
        with mounted(device, tmp_path / "part", "-o", "subvol=mirror") as part:
            assert asked(part).fs_root == "/mirror"
            assert asked(part).filesystem_uuid == asked(volume).filesystem_uuid


@pytest.mark.root
def test_a_filesystem_in_a_file_on_another_loop_mount_is_followed_to_the_last_drive(tmp_path: Path) -> None:
    with mounted(image(tmp_path, "image", "ext4"), tmp_path / "outer", "-o", "loop") as outer:
        with (outer / "inner").open("wb") as made:
            made.truncate(40_000_000)
        run("mkfs.ext4", "-q", outer / "inner")
        with mounted(outer / "inner", tmp_path / "m", "-o", "loop") as volume:
            assert asked(volume).drives == asked("/").drives
            assert asked(volume).backing_file == str(outer / "inner")


@pytest.mark.root
def test_a_loop_mount_whose_file_is_gone_shows_no_drive(tmp_path: Path) -> None:
    file = image(tmp_path, "image", "ext4")
    with mounted(file, tmp_path / "m", "-o", "loop") as volume:
        file.unlink()
        assert asked(volume).drives == frozenset()


@pytest.mark.root
def test_a_mount_in_memory_shows_no_uuid_and_no_drive(tmp_path: Path) -> None:
    with mounted("none", tmp_path / "m", "-t", "tmpfs") as volume:
        facts = asked(volume)
        assert (facts.filesystem_type, facts.filesystem_uuid, facts.drives) == ("tmpfs", None, frozenset())
        assert facts.on_root is False


@pytest.mark.root
def test_a_folder_of_the_root_filesystem_bound_elsewhere_still_lies_on_it(tmp_path: Path) -> None:
    (tmp_path / "here").mkdir()
    with mounted(tmp_path / "here", tmp_path / "there", "--bind") as volume:
        facts = asked(volume)
        assert facts.on_root is True
        assert facts.mount_target == str(volume)
        assert facts.fs_root == str(tmp_path / "here")


@pytest.mark.root
def test_a_folder_that_is_bound_upon_itself_shows_what_it_showed_before(tmp_path: Path) -> None:
    """As the sandbox of a service does with the folders that it may write."""
    (tmp_path / "state").mkdir()
    before = asked(tmp_path / "state")
    with mounted(tmp_path / "state", tmp_path / "state", "--bind") as volume:
        now = asked(volume)
    assert (now.mount_target, now.fs_root, now.on_root) == (before.mount_target, before.fs_root, True)


@pytest.mark.root
def test_the_last_mount_over_a_place_is_the_one_that_counts(tmp_path: Path) -> None:
    with mounted("first", tmp_path / "m", "-t", "tmpfs") as volume, mounted("second", volume, "-t", "tmpfs"):
        assert asked(volume).mount_source == "second"


@pytest.mark.root
def test_a_mount_that_another_one_hides_is_not_the_one_that_holds_the_path(tmp_path: Path) -> None:
    (tmp_path / "m" / "pool").mkdir(parents=True)
    with mounted("hidden", tmp_path / "m" / "pool", "-t", "tmpfs"), contextlib.ExitStack() as above:
        above.enter_context(mounted("above", tmp_path / "m", "-t", "tmpfs"))
        (tmp_path / "m" / "pool").mkdir()
        facts = asked(tmp_path / "m" / "pool")
        assert (facts.mount_source, facts.mount_target) == ("above", str(tmp_path / "m"))


@pytest.mark.root
def test_an_empty_mount_point_of_a_box_lies_on_its_root(tmp_path: Path) -> None:
    file = image(tmp_path, "image", "ext4")
    with mounted(file, tmp_path / "m", "-o", "loop") as volume:
        assert asked(volume).on_root is False
    assert asked(tmp_path / "m").on_root is True


def test_a_path_that_is_not_there_or_no_folder_is_missing(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("x")
    assert kind_of(tmp_path / "gone") is GapKind.MISSING
    assert kind_of(tmp_path / "file") is GapKind.MISSING


def test_a_hostile_path_is_entered_and_nothing_else_happens(tmp_path: Path) -> None:
    folder = tmp_path / "-x $(touch ran) `touch ran`\n'\";touch ran"
    folder.mkdir()
    assert asked(folder).path == str(folder)
    assert list(folder.iterdir()) == []


def test_a_link_to_a_volume_shows_what_it_leads_to(tmp_path: Path) -> None:
    (tmp_path / "link").symlink_to("/dev/shm")
    assert asked(tmp_path / "link").mount_target == "/dev/shm"


@pytest.mark.root
def test_without_privileges_the_mount_and_the_drives_are_still_shown(tmp_path: Path) -> None:
    nobody = ("setpriv", "--reuid=65534", "--regid=65534", "--clear-groups", "sh")
    facts = asked("/dev/shm", nobody)
    assert facts.filesystem_type == "tmpfs"
    assert asked("/", nobody).drives == asked("/").drives
    assert tmp_path.exists()


def test_a_box_that_shows_nothing_is_not_made_up() -> None:
    assert read() == VolumeFacts(volume=KEY, at=AT, path="/srv/pool")


def test_a_place_that_is_mounted_on_demand_and_was_not_is_not_mounted() -> None:
    table = b"40 27 0:50 / /srv/pool rw - autofs systemd-1 rw,fd=30\n"
    with pytest.raises(TransportError) as refused:
        read(("mountinfo", table))
    assert refused.value.kind is GapKind.NOT_MOUNTED


@pytest.mark.parametrize(
    ("why", "kind"),
    [
        (b"ls: cannot access '/srv/pool/.': No such file or directory", GapKind.MISSING),
        (b"ls: cannot access '/srv/pool/.': Permission denied", GapKind.UNREADABLE),
        (b"ls: cannot access '/srv/pool/.': Input/output error", GapKind.UNREADABLE),
        (b"ls: cannot access '/srv/pool/.': Stale file handle", GapKind.NOT_MOUNTED),
        (b"ls: cannot access '/srv/pool/.': Transport endpoint is not connected", GapKind.NOT_MOUNTED),
        (b"", GapKind.UNREADABLE),
    ],
)
def test_why_a_path_could_not_be_entered_is_kept(why: bytes, kind: GapKind) -> None:
    with pytest.raises(TransportError) as refused:
        volume_facts.parse(framed_reply(("refused", why)), 0, nonce=NONCE, volume=KEY, path="/srv/pool", at=AT)
    assert refused.value.kind is kind


# The shape of proc_pid_mountinfo(5); the rows were recorded on boxes of several kinds and renamed.
TABLE = b"""27 1 8:2 / / rw,relatime shared:1 - ext4 /dev/sda2 rw
31 27 0:30 / /srv/pool rw - nfs4 kestrel:/export/pool rw,vers=4.2
32 27 0:31 / /mnt/a\\040b\\134c rw - cifs //heron/share\\040one ro
33 27 0:32 /@home /home rw shared:5 master:2 - btrfs /dev/sda3 rw,subvol=/@home
bad row
34 27 0:33 / /srv/pool rw - fuse.sshfs auditor@heron:/srv rw
"""


def test_the_mount_table_is_read_with_its_escapes_and_optional_columns() -> None:
    table = {mount.target: mount for mount in mount_table(TABLE)}
    assert table[b"/mnt/a b\\c"].source == b"//heron/share one"
    assert table[b"/mnt/a b\\c"].read_only
    assert table[b"/home"].fs_root == b"/@home"
    assert len(mount_table(TABLE)) == 5


SHUT_IN = b"""27 1 8:2 / / ro,relatime shared:1 - ext4 /dev/sda2 rw
31 27 8:17 / /srv/pool ro,relatime - ext4 /dev/sdb1 rw
32 27 8:18 / /srv/cold ro,relatime - ext4 /dev/sdb2 ro
33 27 8:2 /var/lib/auditor /var/lib/auditor rw,relatime - ext4 /dev/sda2 rw
"""


def test_in_a_sandbox_that_may_write_nothing_only_filesystems_that_are_read_only_are() -> None:
    read_only = {mount.target: mount.read_only for mount in mount_table(SHUT_IN)}
    assert read_only == {b"/": False, b"/srv/pool": False, b"/srv/cold": True, b"/var/lib/auditor": False}


def test_elsewhere_a_mount_that_is_read_only_by_itself_is() -> None:
    """Also where the root's filesystem is one that cannot be written: that is no sandbox."""
    free = SHUT_IN.replace(b"/ / ro", b"/ / rw")
    frozen = SHUT_IN.replace(b"/dev/sda2 rw\n31", b"/dev/sda2 ro\n31")
    for table in (free, frozen):
        read_only = {mount.target: mount.read_only for mount in mount_table(table)}
        assert read_only[b"/srv/pool"]
        assert not read_only[b"/var/lib/auditor"]


@pytest.mark.parametrize(
    ("path", "mount_id", "source"),
    [
        (b"/srv/pool/mirror", None, b"auditor@heron:/srv"),
        (b"/srv/pool/mirror", 31, b"kestrel:/export/pool"),
        (b"/srv/pooled", None, b"/dev/sda2"),
        (b"/home/x", None, b"/dev/sda3"),
        (b"/home/x", 27, b"/dev/sda2"),
    ],
)
def test_the_holder_is_what_the_kernel_says_else_the_longest_and_last(
    path: bytes, mount_id: int | None, source: bytes
) -> None:
    mount = holder(mount_table(TABLE), path, mount_id)
    assert mount is not None
    assert mount.source == source


def test_a_mount_that_the_table_does_not_show_is_not_guessed() -> None:
    # in a chroot the mount of its own root is not in the table
    assert holder(mount_table(TABLE), b"/srv/pool", 99) is None


@pytest.mark.parametrize(
    ("ids", "numbers", "on_root"),
    [
        ((b"27", b"27"), (b"2050", b"2050"), True),
        ((b"31", b"27"), (b"30", b"2050"), False),
        ((b"27", b"27"), (b"44", b"2050"), True),
        ((b"31", b"27"), (b"2050", b"2050"), True),
        ((b"31", b"27"), (b"", b"2050"), None),
        ((b"", b""), (b"30", b"2050"), None),
        ((b"", b""), (b"", b""), None),
    ],
)
def test_a_path_is_off_the_root_only_where_both_signs_say_so(
    ids: tuple[bytes, bytes], numbers: tuple[bytes, bytes], on_root: object
) -> None:
    facts = read(("mount_id", ids[0]), ("root_mount_id", ids[1]), ("number", numbers[0]), ("root_number", numbers[1]))
    assert facts.on_root is on_root


def test_the_device_itself_is_believed_before_a_record_of_it() -> None:
    facts = read(("uuid_lsblk", b"old"), ("uuid_udev", b"old"), ("uuid_link", b"old"), ("uuid_probe", b"new\n"))
    assert facts.filesystem_uuid == "new"
    assert read(("uuid_probe", b""), ("uuid_udev", b"recorded")).filesystem_uuid == "recorded"


SDA = b"/sys/devices/pci0000:00/0000:00:17.0/ata1/host0/target0:0:0/0:0:0:0/block/sda"
SDB = b"/sys/devices/pci0000:00/0000:00:17.0/ata2/host1/target1:0:0/1:0:0:0/block/sdb"
USB = b"/sys/devices/pci0000:00/0000:00:14.0/usb2/2-1/2-1:1.0/host4/target4:0:0/4:0:0:0/block/sdc"


def test_every_drive_of_a_pool_is_named_by_the_best_name_that_it_shows() -> None:
    facts = read(
        ("drive", SDA),
        ("drive-name device/wwid", b"naa.5000c500a1b2c3d4\n"),
        ("drive-name udev", b"INVENTED_1TB_S1"),
        ("drive-rotational", b"1"),
        ("drive", SDB),
        ("drive-name device/wwid", b""),
        ("drive-name device/serial", b"S2  "),
        ("drive-rotational", b"1"),
    )
    assert facts.drives == {"naa.5000c500a1b2c3d4", "S2"}
    assert facts.rotational is True


@pytest.mark.parametrize("name", [b"", b"0000000000", b"QM00001", b"t10.ATA     INVENTED HARDDISK   QM00002", b"none"])
def test_a_name_that_many_drives_bear_names_none_of_them(name: bytes) -> None:
    # the default serials of a common virtual disk, and bridges that show zeros: from memory
    facts = read(("drive", SDA), ("drive-name device/serial", name))
    assert facts.drives == {"path:" + SDA.decode().removeprefix("/sys/devices/")}


def test_one_part_that_cannot_be_followed_leaves_all_drives_unshown() -> None:
    facts = read(("drive", SDA), ("drive-name wwid", b"naa.5"), ("drive-unresolved", b"7:1"))
    assert facts.drives == frozenset()
    assert facts.rotational is None


def test_a_device_of_the_kernels_own_making_is_no_drive() -> None:
    assert read(("drive", b"/sys/devices/virtual/block/zram0")).drives == frozenset()
    named = read(("drive", b"/sys/devices/virtual/nvme-subsystem/nvme-subsys0/nvme0n1"), ("drive-name wwid", b"eui.1"))
    assert named.drives == {"eui.1"}


@pytest.mark.parametrize(
    "path",
    [
        b"/sys/devices/platform/host6/session1/target6:0:0/6:0:0:1/block/sdc",
        b"/sys/devices/pci0000:00/0000:00:05.0/host2/rport-2:0-3/target2:0:3/2:0:3:0/block/sdd",
        b"/sys/devices/virtual/nvme-fabrics/ctl/nvme1/nvme1n1",
    ],
)
def test_a_drive_reached_over_a_network_shows_no_drive_of_this_box(path: bytes) -> None:
    assert read(("drive", path), ("drive-name wwid", b"naa.6001405")).drives == frozenset()


@pytest.mark.parametrize(
    ("leaves", "turns"),
    [
        (((SDA, b"1"), (SDB, b"1")), True),
        (((SDA, b"0"), (SDB, b"0")), False),
        (((SDA, b"1"), (SDB, b"0")), None),
        (((USB, b"1"),), None),
        (((USB, b"0"),), False),
        (((b"/sys/devices/pci0000:00/0000:00:02.0/virtio1/block/vda", b"1"),), None),
        (((SDA, b""),), None),
    ],
)
def test_a_drive_turns_or_not_only_where_all_say_so_who_can_know(
    leaves: tuple[tuple[bytes, bytes], ...], turns: object
) -> None:
    said = [pair for path, flag in leaves for pair in (("drive", path), ("drive-rotational", flag))]
    assert read(*said).rotational is turns


def test_room_is_read_from_df_where_stat_shows_none() -> None:
    facts = read(("df", b"/dev/disk with 1 2 3 blanks  1000 400 600 40% /srv/pool\n"))
    assert (facts.capacity, facts.free) == (1_024_000, 614_400)


def test_a_filesystem_that_counts_no_inodes_shows_none() -> None:
    facts = read(("space", b"4096 100 50 0 0"))
    assert (facts.capacity, facts.free, facts.inodes, facts.inodes_free) == (409_600, 204_800, None, None)

"""What every way of walking a tree owes: the same rows, the same borders, the same honesty."""

from __future__ import annotations

import os
import shutil
import socket
import subprocess
from collections.abc import Iterator
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from coverage_audit.collectors.transport import TransportError
from coverage_audit.collectors.walked import ANOTHER_FILESYSTEM
from coverage_audit.evidence.facts import GapKind
from coverage_audit.evidence.manifest import Kind
from tests.builders.walks import WAYS, Seen, Way, by, by_find, by_ordinary, by_scan
from tests.parts.loops import MakeVolume

pytestmark = pytest.mark.parametrize("way", WAYS)

HOSTILE = [
    b"two\nlines",
    b"tab\there",
    b"-delete",
    b"$(reboot)",
    b"'single' \"double\" `grave`",
    b"\xff\xfe no utf-8",
    "\u202eright to left".encode(),
    b"\x1b[2Jescape",
    b" blanks ",
    b"f            0 1700000000.0000000000 1700000000.0000000000      65024 forged",
    b"M f00d",
    b"B f00d",
    b"E f00d 0",
    b"\\",
    b"%s%P",
    b"{}",
    b"*",
    b"...",
    b"x" * 255,
]


@pytest.fixture
def tree(tmp_path: Path) -> Path:
    root = tmp_path / "tree"
    root.mkdir()
    return root


def entry(folder: Path, name: bytes) -> Path:
    return folder / os.fsdecode(name)


def mtime_over(way: Way, mtime: int) -> int:
    """An mtime as a way can tell it: over SFTP in whole seconds of 32 bits without a sign."""
    return mtime // 10**9 % 2**32 * 10**9 if way == "sftp" else mtime


def test_every_kind_of_entry_is_a_row(way: Way, tree: Path) -> None:
    (tree / "folder").mkdir()
    (tree / "file").write_bytes(b"12345")
    (tree / "link").symlink_to("no/where")
    os.mkfifo(tree / "pipe")
    with socket.socket(socket.AF_UNIX) as made:
        made.bind(os.fspath(tree / "s"))
    seen = by(way, tree)
    kinds = {row.path: row.kind for row in seen.rows}
    assert kinds == {
        b"file": Kind.FILE,
        b"folder": Kind.FOLDER,
        b"link": Kind.LINK,
        b"pipe": Kind.OTHER,
        b"s": Kind.OTHER,
    }
    stats = {row.path: entry(tree, row.path).lstat() for row in seen.rows}
    assert all(row.mtime_ns == mtime_over(way, stats[row.path].st_mtime_ns) for row in seen.rows)
    assert all(row.ctime_ns == (None if way == "sftp" else stats[row.path].st_ctime_ns) for row in seen.rows)
    sizes = {row.path: row.size for row in seen.rows}
    assert (sizes[b"file"], sizes[b"folder"]) == (5, 0)
    assert {row.target for row in seen.rows} == {None, b"no/where"}


def test_hostile_names_come_through_as_they_are(way: Way, tree: Path) -> None:
    for name in HOSTILE:
        entry(tree, name).mkdir()
        entry(tree, name + b"/" + name).write_bytes(name)
        entry(tree, name + b"/link").symlink_to(os.fsdecode(name * 3))
    seen = by(way, tree)
    assert set(seen.paths) == {path for name in HOSTILE for path in (name, name + b"/" + name, name + b"/link")}
    assert {row.target for row in seen.rows if row.target} == {name * 3 for name in HOSTILE}
    assert seen.blind == {}


def test_links_are_never_followed(way: Way, tree: Path) -> None:
    (tree / "inside").mkdir()
    (tree / "inside/up").symlink_to("..")
    (tree / "etc").symlink_to("/etc")
    assert by(way, tree).paths == [b"etc", b"inside", b"inside/up"]


@pytest.mark.parametrize("name", HOSTILE[:-1])
def test_a_root_of_any_name_is_walked_and_a_linked_root_is_followed(way: Way, tree: Path, name: bytes) -> None:
    root = entry(tree, name)
    root.mkdir()
    (root / "file").touch()
    assert by(way, root).paths == [b"file"]
    link = tree / "link"
    link.symlink_to(root)
    assert by(way, link).paths == [b"file"]


def test_an_empty_root_is_a_complete_walk_of_nothing(way: Way, tree: Path) -> None:
    seen = by(way, tree)
    assert (seen.rows, seen.blind) == ((), {})


@pytest.mark.parametrize(
    ("place", "kind"),
    [
        ("missing", GapKind.MISSING),
        ("file", GapKind.MISSING),
        ("file/below", GapKind.MISSING),
        ("dangling", GapKind.MISSING),
    ],
)
def test_a_root_that_is_none_is_a_gap_and_no_empty_tree(way: Way, tree: Path, place: str, kind: GapKind) -> None:
    (tree / "file").touch()
    (tree / "dangling").symlink_to("nowhere")
    with pytest.raises(TransportError) as raised:
        by(way, tree / place)
    assert raised.value.kind is kind
    assert place in raised.value.detail


# Trap: times before 1970 (a fraction counts upwards from the whole second) and beyond what 64 bits of ns hold.
@pytest.mark.parametrize(
    "mtime",
    [0, 1, -1, -500_000_000, -86_400_500_000_000, -86_400_000_000_001, 2**32 * 10**9 + 1, 1_700_000_000_123_456_789],
)
def test_times_are_exact_to_the_nanosecond(way: Way, tree: Path, mtime: int) -> None:
    (tree / "f").touch()
    os.utime(tree / "f", ns=(mtime, mtime))
    stored = (tree / "f").stat().st_mtime_ns
    assert [row.mtime_ns for row in by(way, tree).rows] == [mtime_over(way, stored)]


def test_a_time_that_nanoseconds_cannot_hold_becomes_the_latest_that_they_can(way: Way, tree: Path) -> None:
    (tree / "f").touch()
    os.utime(tree / "f", (0, 13_000_000_000))  # the year 2381: ext4 holds it, 64 bits of ns end in 2262
    latest = mtime_over(way, 13_000_000_000 * 10**9) if way == "sftp" else 2**63 - 1
    assert [row.mtime_ns for row in by(way, tree).rows] == [latest]


def test_a_file_too_large_for_its_column_is_read_all_the_same(way: Way, tree: Path) -> None:
    with (tree / "huge").open("wb") as file:
        file.truncate(15 * 10**12)
    (tree / "small").touch()
    assert [row.size for row in by(way, tree).rows] == [15 * 10**12, 0]


def test_paths_longer_than_the_kernel_takes_at_once_are_walked(way: Way, tree: Path) -> None:
    here = os.open(tree, os.O_RDONLY)
    for _ in range(30):
        os.mkdir("d" * 200, dir_fd=here)
        below = os.open("d" * 200, os.O_RDONLY, dir_fd=here)
        os.close(here)
        here = below
    os.close(os.open("file", os.O_CREAT, dir_fd=here))
    os.close(here)
    seen = by(way, tree)
    if way in {"find", "scan"}:
        assert len(seen.paths[-1]) == 30 * 201 + 4
    else:  # who asks by whole paths gets no farther, and says so
        assert len(seen.blind) == 1
        assert "too deep" in str(seen.blind)
    subprocess.run(["rm", "-rf", tree], check=True)  # shutil cannot


# Trap: unreadable folders on both sides, equally empty to a walker that swallows the error.
def test_an_unreadable_folder_is_a_row_and_blind(way: Way, tree: Path) -> None:
    for name in (b"closed", b"c\nl'o\\s\xffed"):
        entry(tree, name).mkdir()
        entry(tree, name + b"/secret").touch()
        entry(tree, name).chmod(0)
    seen = by_ordinary(way, tree)
    assert isinstance(seen, Seen)
    assert seen.paths == sorted([b"closed", b"c\nl'o\\s\xffed"])
    assert seen.blind == {b"closed": "Permission denied", b"c\nl'o\\s\xffed": "Permission denied"}


def test_a_folder_that_may_be_listed_but_not_searched_is_blind(way: Way, tree: Path) -> None:
    (tree / "closed").mkdir()
    (tree / "closed/secret").touch()
    (tree / "closed").chmod(0o400)
    seen = by_ordinary(way, tree)
    assert isinstance(seen, Seen)
    assert seen.paths == [b"closed"]
    assert set(seen.blind) <= {b"closed", b"closed/secret"}
    assert set(seen.blind.values()) == {"Permission denied"}


def test_an_unreadable_root_is_a_gap(way: Way, tree: Path) -> None:
    (tree / "file").touch()
    tree.chmod(0)
    refused = by_ordinary(way, tree)
    assert isinstance(refused, TransportError)
    assert refused.kind is GapKind.UNREADABLE


# Trap: a border of filesystems hides part of the tree.
@pytest.mark.root
def test_a_filesystem_mounted_inside_is_a_border(way: Way, tree: Path, make_volume: MakeVolume) -> None:
    (tree / "mounted/over").mkdir(parents=True)
    make_volume(tree / "mounted")
    (tree / "mounted/below").touch()
    (tree / "mounted.txt").touch()
    seen = by(way, tree)
    assert seen.paths == [b"mounted", b"mounted.txt"]
    assert seen.blind == {b"mounted": ANOTHER_FILESYSTEM}


@pytest.fixture
def bound(tree: Path) -> Iterator[Path]:
    for name in ("real", "bound", "bound/sub dir"):
        (tree / name).mkdir()
    (tree / "real/file").touch()
    (tree / "file").touch()
    (tree / "real/twice").touch()
    binds = [("real", "bound/sub dir"), ("file", "real/twice")]
    for source, target in binds:
        subprocess.run(["mount", "--bind", tree / source, tree / target], check=True)
    yield tree
    for _, target in reversed(binds):
        subprocess.run(["umount", tree / target], check=True)


@pytest.mark.root
def test_a_bind_mount_of_the_same_filesystem_is_a_border_too(way: Way, bound: Path) -> None:
    seen = by(way, bound)
    if way == "sftp":  # over SFTP nothing tells a folder bound from the same filesystem apart
        assert b"real/twice/file" in seen.paths or b"bound/sub dir/file" in seen.paths
        return
    assert seen.paths == [b"bound", b"bound/sub dir", b"file", b"real", b"real/file", b"real/twice"]
    assert seen.blind == {b"bound/sub dir": ANOTHER_FILESYSTEM, b"real/twice": ANOTHER_FILESYSTEM}


@pytest.fixture
def loop(tree: Path) -> Iterator[Path]:
    (tree / "below").mkdir()
    subprocess.run(["mount", "--bind", tree, tree / "below"], check=True)
    yield tree
    subprocess.run(["umount", tree / "below"], check=True)


@pytest.mark.root
def test_a_tree_bound_into_itself_ends(way: Way, loop: Path) -> None:
    seen = by(way, loop)
    if way == "sftp":  # likewise; the kernel binds no folder into itself twice
        assert seen.paths == [b"below", b"below/below"]
        return
    assert set(seen.paths) <= {b"below"}  # find says that it is a loop and does not list it
    assert seen.blind == {b"below": ANOTHER_FILESYSTEM}


@pytest.mark.root
def test_a_root_that_is_itself_mounted_is_walked(way: Way, tree: Path, make_volume: MakeVolume) -> None:
    make_volume(tree)
    (tree / "file").touch()
    shutil.rmtree(tree / "lost+found")
    seen = by(way, tree)
    assert (seen.paths, seen.blind) == ([b"file"], {})


@pytest.mark.root
def test_a_subvolume_inside_is_a_border(way: Way, tree: Path, make_volume: MakeVolume) -> None:
    make_volume(tree, kind="btrfs")
    subprocess.run(["btrfs", "-q", "subvolume", "create", tree / "sub"], check=True)
    (tree / "sub/file").touch()
    seen = by(way, tree)
    assert (seen.paths, seen.blind) == ([b"sub"], {b"sub": ANOTHER_FILESYSTEM})


names = st.binary(min_size=1, max_size=6).filter(lambda n: not {0, 47} & set(n) and n not in {b".", b".."})
branches = st.recursive(
    st.one_of(st.integers(0, 99), st.binary(min_size=1, max_size=9).filter(lambda target: 0 not in target)),
    lambda inner: st.dictionaries(names, inner, max_size=4),
    max_leaves=12,
)


def plant(folder: bytes, branch: dict[bytes, object]) -> None:
    for name, what in branch.items():
        path = os.fsdecode(folder + b"/" + name)
        if isinstance(what, dict):
            os.mkdir(path)  # noqa: PTH102 - bytes
            plant(os.fsencode(path), what)
        elif isinstance(what, bytes):
            os.symlink(what, os.fsencode(path))  # noqa: PTH211 - bytes
        else:
            Path(path).write_bytes(b"x" * int(str(what)))


@settings(deadline=None, max_examples=25, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(branch=st.dictionaries(names, branches, max_size=6), number=st.integers(0))
def test_both_ways_see_the_same_rows_in_any_tree(
    way: Way, tree: Path, branch: dict[bytes, object], number: int
) -> None:
    del way  # both, against each other
    root = tree / f"{number}-{len(os.listdir(tree))}"  # noqa: PTH208 - counting is all
    root.mkdir()
    plant(os.fsencode(root), branch)
    assert by_find(root).rows == by_scan(root).rows

"""What only the local walk owes: order out of many walkers, and an end that is proven."""

from __future__ import annotations

import os
import signal
import subprocess
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from coverage_audit.collectors.local_walk import telling
from coverage_audit.collectors.local_walk.looking import Sight
from coverage_audit.collectors.local_walk.telling import Walker
from coverage_audit.collectors.readers.scan_tree import scan, scanning, sequence
from coverage_audit.collectors.readers.scan_tree.pool import Pool
from coverage_audit.collectors.readers.scan_tree.sequence import Sequence
from coverage_audit.collectors.transport import TransportError
from coverage_audit.collectors.walked import ANOTHER_FILESYSTEM, REPLACED
from coverage_audit.evidence.facts import GapKind
from tests.builders.walks import Seen, by_find, by_scan

# The facts of a folder as lstat gives them, of which only its mode counts here.
FOLDER = (0o040755, 0, 0, 0, 0, 1)


@pytest.fixture
def tree(tmp_path: Path) -> Path:
    root = tmp_path / "tree"
    for folder in ("", "a", "a/b", "a.d", "c", "c/d", "c/d/e"):
        (root / folder).mkdir(exist_ok=True)
        for number in range(30):
            (root / folder / f"take-{number:02d}").touch()
            (root / folder / f"w{number:02d}").mkdir()
        (root / folder / "link").symlink_to("take-00")
    return root


@pytest.mark.parametrize("walkers", [1, 2, 5])
@pytest.mark.parametrize(("enough", "at_once"), [(1, 1), (7, 3), (100, 1000)])
def test_order_and_rows_do_not_depend_on_how_the_work_was_shared(
    tree: Path, monkeypatch: pytest.MonkeyPatch, walkers: int, enough: int, at_once: int
) -> None:
    monkeypatch.setattr(scanning, "_ENOUGH", enough)
    monkeypatch.setattr(scanning, "_ENOUGH_AT_FIRST", enough)
    monkeypatch.setattr(sequence, "FOLDERS_AT_ONCE", at_once)
    assert by_scan(tree, walkers).rows == by_find(tree).rows


def told(root: Path, *, enough: int = 10**9, borders: frozenset[bytes] = frozenset()) -> list[Any]:
    """Let a walker walk a whole tree in this process, and give back what it says."""
    said: list[Any] = []
    home = Path.cwd()
    descriptor = os.open(root, os.O_RDONLY)
    try:
        Walker(descriptor, borders, said.append).walk(0, None, enough)
    finally:
        os.close(descriptor)
        os.chdir(home)
    return said


def paths_in(said: list[Any]) -> list[bytes]:
    return [path for message in said if message[0] == "rows" for path in message[3].split(b"\0")[:-1]]


def test_a_folder_of_more_names_than_are_held_at_once_is_told_in_order(
    tree: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    wanted = by_find(tree).paths
    for at_once in (1, 7, 50):
        monkeypatch.setattr(telling, "AT_ONCE", at_once)
        said = told(tree, enough=1)
        left = said[-1][-1][0] if said[-1][-1] else []
        assert paths_in(said) + left == wanted


def test_what_is_left_when_enough_was_told_is_handed_back_whole(tree: Path) -> None:
    said = told(tree, enough=40)
    kind, number, rows, vanished, left = said[-1]
    assert (kind, number, vanished) == ("done", 0, 0)
    assert rows == len(paths_in(said)) >= 40
    paths, facts, opens, targets = left
    assert len(paths) == len(facts)
    assert all(facts[place][0] & 0o170000 == 0o040000 for place, _inode in opens)
    assert set(targets) == {path for path in paths if path.endswith(b"/link") or path == b"link"}


def test_rows_come_out_in_tree_order_however_the_stretches_end() -> None:
    parts = Sequence()
    parts.end(0, 0, ([b"a", b"b"], [FOLDER, FOLDER], [(0, 1), (1, 2)], {}))
    first, _ = parts.next_stretch() or (0, None)
    last, _ = parts.next_stretch() or (0, None)
    assert parts.next_stretch() is None
    parts.take(last, 1, (1, b"b\0", b"", []))
    parts.end(last, 1, None)
    assert list(parts.ready()) == []
    parts.take(first, 1, (1, b"a\0", b"", []))
    parts.end(first, 1, ([b"a/z"], [FOLDER], [(0, 3)], {}))
    middle, _ = parts.next_stretch() or (0, None)
    assert [block[1] for block in parts.ready()] == [b"a\0"]
    parts.take(middle, 1, (1, b"a/z\0", b"", []))
    assert not parts.is_told
    parts.end(middle, 1, None)
    assert [block[1] for block in parts.ready()] == [b"a/z\0", b"b\0"]
    assert parts.is_told


def test_a_stretch_that_lost_rows_on_its_way_is_no_walk() -> None:
    parts = Sequence()
    parts.take(0, 1, (1, b"a\0", b"", []))
    with pytest.raises(TransportError) as raised:
        parts.end(0, 2, None)
    assert raised.value.kind is GapKind.MALFORMED


def test_walkers_that_run_far_ahead_are_held_back(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(sequence, "FOLDERS_AT_ONCE", 1)
    monkeypatch.setattr(sequence, "_MOST_HELD", 10)
    parts = Sequence()
    parts.end(0, 0, ([b"a", b"b", b"c"], [FOLDER] * 3, [(0, 1), (1, 2), (2, 3)], {}))
    first, _ = parts.next_stretch() or (0, None)
    second, _ = parts.next_stretch() or (0, None)
    parts.take(second, 1, (1, b"b/a-long-name\0", b"", []))
    assert parts.next_stretch() is None
    parts.end(first, 0, None)
    parts.end(second, 1, None)
    assert len(list(parts.ready())) == 1
    assert parts.next_stretch() is not None


@pytest.fixture
def watched(monkeypatch: pytest.MonkeyPatch) -> Iterator[list[int]]:
    """The process numbers of the walkers that are started."""
    started: list[int] = []
    begin = Pool.__init__

    def watching(self: Pool, *arguments: Any) -> None:
        begin(self, *arguments)
        started.extend(hand.process.pid for hand in self._hands)

    monkeypatch.setattr(Pool, "__init__", watching)
    yield started
    for pid in started:
        with pytest.raises(ProcessLookupError):
            os.kill(pid, 0)  # none is left behind, not even as a zombie


def test_a_walker_that_is_killed_is_no_walk(tree: Path, watched: list[int], monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(scanning, "_ENOUGH", 1)

    def kill_one(_batch: Any) -> None:
        os.kill(watched[0], signal.SIGKILL)

    with pytest.raises(TransportError) as raised:
        scan(os.fspath(tree), kill_one, walkers=2, deadline=time.monotonic() + 60)
    assert raised.value.kind is GapKind.CUT


def test_a_walker_that_hangs_costs_no_more_than_the_time_limit(tree: Path, watched: list[int]) -> None:
    def stop_both(_batch: Any) -> None:
        for pid in watched:
            os.kill(pid, signal.SIGSTOP)

    began = time.monotonic()
    with pytest.raises(TransportError) as raised:
        scan(os.fspath(tree), stop_both, walkers=2, deadline=began + 2)
    assert raised.value.kind is GapKind.TIME_LIMIT
    assert time.monotonic() - began < 10


def test_an_error_of_who_takes_the_rows_ends_the_walkers(tree: Path, watched: list[int]) -> None:
    def full(_batch: Any) -> None:
        raise OSError("the disk is full")

    with pytest.raises(OSError, match="full"):
        scan(os.fspath(tree), full, walkers=2, deadline=time.monotonic() + 60)
    assert len(watched) == 2


def test_progress_tells_how_many_rows_there_are_so_far(tree: Path) -> None:
    counts: list[int] = []
    walked = scan(os.fspath(tree), lambda _: None, walkers=2, deadline=time.monotonic() + 60, progress=counts.append)
    assert counts == sorted(counts)
    assert counts[-1] == walked.entries


def test_a_root_that_is_replaced_during_the_walk_is_no_walk(tree: Path) -> None:
    def swap(_batch: Any) -> None:
        tree.rename(tree.with_name("old"))
        tree.mkdir()

    with pytest.raises(TransportError) as raised:
        scan(os.fspath(tree), swap, walkers=1, deadline=time.monotonic() + 60)
    assert raised.value.kind is GapKind.CUT


@pytest.mark.root
def test_what_is_mounted_during_the_walk_is_blind(tree: Path) -> None:
    def mount(_batch: Any) -> None:
        subprocess.run(["mount", "-t", "tmpfs", "tmpfs", tree / "a"], check=True)

    try:
        walked = scan(os.fspath(tree), mount, walkers=1, deadline=time.monotonic() + 60)
    finally:
        subprocess.run(["umount", tree / "a"], check=True)
    assert [(place.path, place.why) for place in walked.blind] == [(b"a", ANOTHER_FILESYSTEM)]


@pytest.fixture
def sight(tree: Path) -> Iterator[tuple[Sight, dict[bytes, str]]]:
    home = Path.cwd()
    descriptor = os.open(tree, os.O_RDONLY)
    blind: dict[bytes, str] = {}
    yield Sight(descriptor, frozenset(), blind.__setitem__), blind
    os.close(descriptor)
    os.chdir(home)


def test_a_folder_that_became_a_link_is_blind_and_not_followed(
    tree: Path, sight: tuple[Sight, dict[bytes, str]]
) -> None:
    inode = (tree / "a/b").stat().st_ino
    (tree / "a/b").rename(tree / "moved")
    (tree / "a/b").symlink_to("/etc")
    assert sight[0].names(b"a/b", inode) == []
    assert sight[1] == {b"a/b": REPLACED}


def test_a_folder_reached_through_a_link_in_its_path_is_blind(
    tree: Path, sight: tuple[Sight, dict[bytes, str]]
) -> None:
    inode = (tree / "a/b").stat().st_ino
    (tree / "a").rename(tree / "elsewhere")
    (tree / "a").symlink_to("c")
    (tree / "c/b").mkdir()
    assert sight[0].names(b"a/b", inode) == []
    assert sight[1] == {b"a/b": REPLACED}


def test_a_folder_with_a_new_inode_number_under_its_own_name_is_read(sight: tuple[Sight, dict[bytes, str]]) -> None:
    assert b"take-00" in sight[0].names(b"a/b", inode=1)
    assert sight[1] == {}


def test_what_vanished_is_counted_and_no_row(tree: Path, sight: tuple[Sight, dict[bytes, str]]) -> None:
    seeing, blind = sight
    inode = (tree / "a/b").stat().st_ino
    names = seeing.names(b"a/b", inode)
    (tree / "a/b/take-07").unlink()
    paths, facts, _ = seeing.look(b"a/b", names)
    assert b"a/b/take-07" not in paths
    assert len(paths) == len(facts) == len(names) - 1
    assert seeing.names(b"a/none", 1) == []
    assert (seeing.vanished, blind) == (2, {})


def test_a_link_that_vanished_or_was_replaced_before_it_was_read_is_no_row(
    tree: Path, sight: tuple[Sight, dict[bytes, str]], monkeypatch: pytest.MonkeyPatch
) -> None:
    seeing, blind = sight
    names = seeing.names(b"a", (tree / "a").stat().st_ino)
    for error, wanted in ((FileNotFoundError(2, "gone"), {}), (OSError(22, "no link"), {b"a/link": REPLACED})):
        monkeypatch.setattr(os, "readlink", lambda _name, error=error: (_ for _ in ()).throw(error))
        paths, facts, opens = seeing.look(b"a", names)
        assert b"a/link" not in paths
        assert all(facts[place][0] & 0o170000 == 0o040000 for place, _inode in opens)
        assert blind == wanted


def test_a_tree_that_is_being_removed_is_walked_or_refused_but_never_misread(tmp_path: Path) -> None:
    root = tmp_path / "living"
    for folder in range(400):
        (root / f"{folder:03d}").mkdir(parents=True)
        for number in range(20):
            (root / f"{folder:03d}" / f"{number}").touch()
    with subprocess.Popen(["rm", "-rf", *map(str, sorted(root.iterdir(), reverse=True))]) as removing:
        seen: Seen = by_scan(root)
        removing.wait()
    assert seen.blind == {}

"""What only the find reader owes: the proof that a listing from far away is whole."""

from __future__ import annotations

import os
import shutil
import subprocess
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from coverage_audit.collectors.readers.find_tree import FindReader, request
from coverage_audit.collectors.readers.find_tree.complaints import complaints
from coverage_audit.collectors.transport import TransportError
from coverage_audit.collectors.walked import REPLACED, Walked
from coverage_audit.evidence.facts import GapKind
from tests.builders.shell_reply import run_gate
from tests.builders.walks import rows_of

NONCE = "0123456789abcdef"
BEGIN = f"B {NONCE}\n".encode()


@dataclass(frozen=True, kw_only=True)
class Reply:
    """What a box answered."""

    root: str
    out: bytes
    err: bytes
    status: int | None


def ask(root: Path, *, path: str | None = None) -> Reply:
    """Run the gate on this machine, as a box would."""
    environment = {**os.environ, "PATH": path or os.environ["PATH"]}
    done = run_gate(request(os.fspath(root), NONCE), by=("/bin/sh",), environment=environment)
    return Reply(root=os.fspath(root), out=done.stdout, err=done.stderr, status=done.returncode)


def read(reply: Reply, *, dropped: int = 0, pieces: Sequence[int] = ()) -> tuple[Walked, list[bytes]]:
    """Feed a reply to a reader, cut into pieces at these places."""
    batches: list[Any] = []
    reader = FindReader(reply.root, NONCE, batches.append)
    places = [0, *sorted(pieces), len(reply.out)]
    for start, end in pairwise(places):
        reader.feed(reply.out[start:end])
    walked = reader.end(reply.status, reply.err, dropped)
    return walked, [row.path for row in rows_of(batches)]


def changed(reply: Reply, **changes: Any) -> Reply:
    return Reply(**{**vars(reply), **changes})


def gap_of(reply: Reply, **more: Any) -> GapKind:
    with pytest.raises(TransportError) as raised:
        read(reply, **more)
    return raised.value.kind


@pytest.fixture(scope="module")
def tree(tmp_path_factory: pytest.TempPathFactory) -> Path:
    root = tmp_path_factory.mktemp("find") / "tree"
    for folder in ("a", "b"):
        (root / folder).mkdir(parents=True)
        for number in range(5):
            (root / folder / f"take-{number}.flac").write_bytes(b"x" * number)
        (root / folder / "latest").symlink_to("take-4.flac")
    return root


@pytest.fixture(scope="module")
def whole(tree: Path) -> Reply:
    return ask(tree)


def test_a_whole_reply_is_a_walk(whole: Reply) -> None:
    walked, paths = read(whole)
    assert walked == Walked(how="gnu find", entries=14, blind=())
    assert len(paths) == 14


# Traps: a truncated listing taken for a small tree; the end of a stream taken for the end of the listing.
def test_a_reply_cut_anywhere_is_no_walk(whole: Reply) -> None:
    tables = [place for place, letter in enumerate(whole.out) if letter == 0][2:4]  # of mounts: long and much alike
    for length in range(len(whole.out)):
        if tables[0] < length < tables[1] and length % 50:
            continue
        for status in (0, None):
            gap_of(changed(whole, out=whole.out[:length], status=status))


def test_a_reply_without_exit_status_is_cut(whole: Reply) -> None:
    assert gap_of(changed(whole, status=None)) is GapKind.CUT


def test_a_status_of_the_connection_that_is_not_finds_own_is_no_end(whole: Reply) -> None:
    for status in (1, 127, 255):
        gap_of(changed(whole, status=status))


@settings(deadline=None, max_examples=40)
@given(st.lists(st.integers(0, 3000), max_size=12))
def test_pieces_may_end_anywhere(whole: Reply, places: list[int]) -> None:
    inside = [place for place in places if place < len(whole.out)]
    assert read(whole, pieces=inside) == read(whole)


def test_a_banner_before_the_listing_does_no_harm(whole: Reply) -> None:
    noisy = changed(whole, out=b"Welcome!\nB 0 sent\0 quota: 3%\n" + whole.out, err=b"motd: none\n" + whole.err)
    assert read(noisy) == read(whole)


def test_noise_after_or_inside_the_listing_is_no_proof(whole: Reply) -> None:
    gap_of(changed(whole, out=whole.out + b"Connection closing\n"))
    inside = whole.out.index(b"\0d") + 1
    assert (
        gap_of(changed(whole, out=whole.out[:inside] + b"wall: reboot soon\n" + whole.out[inside:])) is GapKind.NO_TOOL
    )
    late = whole.out.index(b"\0f") + 1
    assert gap_of(changed(whole, out=whole.out[:late] + b"wall: reboot soon\n" + whole.out[late:])) is GapKind.MALFORMED


def test_a_reply_of_another_run_is_none(whole: Reply) -> None:
    assert gap_of(changed(whole, out=whole.out.replace(NONCE.encode(), b"f" * 16))) is GapKind.NO_SHELL


def test_a_shell_that_is_none_is_said(tree: Path) -> None:
    refused = Reply(root=os.fspath(tree), out=b"This account is currently not available.\n", err=b"", status=1)
    assert gap_of(refused) is GapKind.NO_SHELL


def feed_for_ever(reader: FindReader, piece: bytes) -> None:
    for _ in range(100):
        reader.feed(piece)


def test_a_box_that_prints_for_ever_is_stopped(tree: Path) -> None:
    reader = FindReader(os.fspath(tree), NONCE, lambda _: None)
    with pytest.raises(TransportError) as raised:
        feed_for_ever(reader, b"y\n" * (1 << 19))
    assert raised.value.kind is GapKind.NO_SHELL


def test_a_listing_that_prints_no_end_of_a_record_is_stopped(whole: Reply) -> None:
    reader = FindReader(whole.root, NONCE, lambda _: None)
    reader.feed(whole.out[: whole.out.index(b"\0d") + 1])
    with pytest.raises(TransportError) as raised:
        feed_for_ever(reader, b"y" * (1 << 20))
    assert raised.value.kind is GapKind.MALFORMED


@pytest.fixture
def tools(tmp_path: Path) -> Path:
    """A PATH of its own, with all that the script needs but `find`."""
    folder = tmp_path / "bin"
    folder.mkdir()
    for name in ("cat", "sh"):
        (folder / name).symlink_to(shutil.which(name) or name)
    return folder


def test_a_box_without_find_is_said(tree: Path, tools: Path) -> None:
    assert gap_of(ask(tree, path=os.fspath(tools))) is GapKind.NO_TOOL


def test_a_find_that_is_not_gnu_is_said(tree: Path, tools: Path) -> None:
    (tools / "find").symlink_to(shutil.which("busybox") or "busybox")
    assert gap_of(ask(tree, path=os.fspath(tools))) is GapKind.NO_TOOL


def fake_find(tools: Path, text: str) -> str:
    (tools / "find").write_text(f"#!/bin/sh\n{text}\n")
    (tools / "find").chmod(0o755)
    return f"{tools}:{os.environ['PATH']}"


# FreeBSD's find -printf: no fraction, no width (from memory of its source).
def test_a_find_that_prints_another_shape_is_said(tree: Path, tools: Path) -> None:
    other = fake_find(tools, r"printf 'd 512 1700000000 1700000000 77 \n'")
    assert gap_of(ask(tree, path=other)) is GapKind.NO_TOOL


def test_a_find_that_is_killed_is_no_walk(tree: Path, tools: Path) -> None:
    real = shutil.which("find")
    killed = fake_find(tools, f'{real} "$@"; kill -9 $$')
    gap_of(ask(tree, path=killed))


@pytest.mark.parametrize(
    ("said", "status"),
    [
        ("", 1),  # it failed and does not say where
        ("find: write error: No space left on device", 1),
        ("find: '/elsewhere/x': Permission denied", 1),  # not below the root
        ("find: '././x': Some new trouble", 1),
        ("find: '././x': Permission denied", 0),  # a complaint and a good end
        ("a line of nobody", 1),
        ("find: '././x': Permission denied\nfind: WARNING: Hard link count is wrong", 1),
    ],
)
def test_a_complaint_that_is_not_understood_is_no_walk(tree: Path, tools: Path, said: str, status: int) -> None:
    real = shutil.which("find")
    text = said.format(root=tree)
    failing = fake_find(tools, f"{real} \"$@\"; cat >&2 <<'EOF'\n{text}\nEOF\nexit {status}")
    assert gap_of(ask(tree, path=failing)) is GapKind.MALFORMED


def test_more_complaints_than_are_kept_are_no_walk(tree: Path, tools: Path) -> None:
    real = shutil.which("find")
    failing = fake_find(tools, f'{real} "$@"; echo "find: \'././x\': Permission denied" >&2; exit 1')
    assert gap_of(ask(tree, path=failing), dropped=1) is GapKind.UNREADABLE


def test_a_root_that_was_replaced_meanwhile_is_no_walk(tmp_path: Path, tools: Path) -> None:
    root = tmp_path / "root"
    root.mkdir()
    real = shutil.which("find")
    swapping = fake_find(
        tools, f'{real} "$@" || exit; case "$*" in *-xdev*) mv "{root}" "{root}.old"; mkdir "{root}";; esac'
    )
    assert gap_of(ask(root, path=swapping)) is GapKind.CUT


def test_an_entry_that_vanished_is_counted_and_no_blind_place(tree: Path, tools: Path) -> None:
    real = shutil.which("find")
    racing = fake_find(tools, f'{real} "$@"; echo "find: \'././gone\': No such file or directory" >&2; exit 1')
    walked, paths = read(ask(tree, path=racing))
    assert (walked.vanished, walked.blind, len(paths)) == (1, (), 14)


def test_a_complaint_names_its_path_byte_for_byte() -> None:
    name = b"c\nl'o\\s\xffe\td"
    lines = rb"find: '/r/./c\nl\'o\\s\377e\td': Permission denied" + b"\n"
    assert complaints(lines, b"/r/./").blind[0].path == name


def test_older_versions_open_their_quotes_with_a_grave_accent() -> None:
    assert complaints(b"find: `/r/./a': Permission denied\n", b"/r/./").blind[0].path == b"a"


def test_a_folder_that_became_a_file_meanwhile_is_blind() -> None:
    assert complaints(b"find: '/r/./a': Not a directory\n", b"/r/./").blind[0].why == REPLACED


@pytest.fixture
def living(tmp_path: Path) -> Iterator[Path]:
    root = tmp_path / "living"
    for folder in range(400):
        (root / f"{folder:03d}").mkdir(parents=True)
        for number in range(20):
            (root / f"{folder:03d}" / f"{number}").touch()
    with subprocess.Popen(["rm", "-rf", *map(str, sorted(root.iterdir(), reverse=True))]) as removing:
        yield root
        removing.wait()


def test_a_tree_that_is_being_removed_is_walked_or_refused_but_never_misread(living: Path) -> None:
    reply = ask(living)
    walked, paths = read(reply)
    assert len(paths) == walked.entries
    assert walked.blind == ()

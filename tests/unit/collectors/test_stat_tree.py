"""What only the reader of find and stat owes: the proof that a listing from far away is whole."""

from __future__ import annotations

import os
import subprocess
from dataclasses import dataclass, replace
from itertools import pairwise
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from coverage_audit.collectors.gate_text import gate_text
from coverage_audit.collectors.readers import stat_tree
from coverage_audit.collectors.readers.stat_tree import StatReader
from coverage_audit.collectors.readers.stat_tree.complaints import complaints
from coverage_audit.collectors.transport import TransportError
from coverage_audit.collectors.walked import REPLACED, Walked
from coverage_audit.errors import EvidenceError
from coverage_audit.evidence.batches.stat_lines import stat_records
from coverage_audit.evidence.facts import GapKind
from tests.builders.walks import rows_of
from tests.parts.busybox import a_path_of_busybox

NONCE = "0123456789abcdef"


@dataclass(frozen=True, kw_only=True)
class Reply:
    """What a box answered."""

    root: str
    out: bytes
    err: bytes
    status: int | None


def ask(root: Path, tools: Path, gate: bytes | None = None) -> Reply:
    """Put the request to the gate on this machine, with BusyBox's tools."""
    words = stat_tree.request("stat-c", os.fspath(root), NONCE).words
    done = subprocess.run(
        ["/bin/sh", "-s", "--", *words],
        input=gate or gate_text(),
        capture_output=True,
        check=False,
        env={"PATH": os.fspath(tools)},
    )
    return Reply(root=os.fspath(root), out=done.stdout, err=done.stderr, status=done.returncode)


def read(reply: Reply, *, dropped: int = 0, pieces: tuple[int, ...] = ()) -> tuple[Walked, list[bytes]]:
    """Feed a reply to a reader, cut into pieces at these places."""
    batches: list[Any] = []
    reader = StatReader(reply.root, NONCE, batches.append, precision_ns=1)
    for start, end in pairwise([0, *sorted(pieces), len(reply.out)]):
        reader.feed(reply.out[start:end])
    walked = reader.end(reply.status, reply.err, dropped)
    return walked, [row.path for row in rows_of(batches)]


def gap_of(reply: Reply, **more: Any) -> GapKind:
    with pytest.raises(TransportError) as raised:
        read(reply, **more)
    return raised.value.kind


@pytest.fixture(scope="module")
def tools(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return a_path_of_busybox(tmp_path_factory.mktemp("busybox") / "bin")


@pytest.fixture(scope="module")
def whole(tmp_path_factory: pytest.TempPathFactory, tools: Path) -> Reply:
    root = tmp_path_factory.mktemp("stat") / "tree"
    for folder in ("a", "b"):
        (root / folder).mkdir(parents=True)
        for number in range(3):
            (root / folder / f"take-{number}.flac").write_bytes(b"x" * number)
        (root / folder / "latest").symlink_to("take-2.flac")
    return ask(root, tools)


def records_of(reply: Reply) -> tuple[int, int]:
    """Where the records begin and end in a reply."""
    return reply.out.index(b"41"), reply.out.rindex(f"M {NONCE}".encode())


def test_a_whole_reply_is_a_walk(whole: Reply) -> None:
    walked, paths = read(whole)
    assert walked == Walked(how="find and stat", entries=10, blind=())
    assert len(paths) == 10


# Traps: a truncated listing taken for a small tree; the end of a stream taken for the end of the listing.
def test_a_reply_cut_anywhere_is_no_walk(whole: Reply) -> None:
    first, last = records_of(whole)
    for length in range(len(whole.out)):
        if not first < length < last and length % 50:
            continue  # tables of mounts: long and much alike
        for status in (0, None):
            gap_of(replace(whole, out=whole.out[:length], status=status))


def test_a_line_that_is_lost_is_noticed_by_the_count_made_on_the_box(whole: Reply) -> None:
    start = whole.out.index(b"\n81a4") + 1
    end = whole.out.index(b"/\n", start) + 2
    assert gap_of(replace(whole, out=whole.out[:start] + whole.out[end:])) is GapKind.CUT


def test_noise_after_or_inside_the_listing_is_no_proof(whole: Reply) -> None:
    gap_of(replace(whole, out=whole.out + b"Connection closing\n"))
    gap_of(replace(whole, out=whole.out + b"\0"))
    inside = whole.out.index(b"\n81a4") + 1
    gap_of(replace(whole, out=whole.out[:inside] + b"wall: reboot soon\n" + whole.out[inside:]))


def test_a_banner_before_the_listing_does_no_harm(whole: Reply) -> None:
    noisy = replace(whole, out=b"Welcome!\nB 0 \0 quota: 3%\n" + whole.out, err=b"motd: none\n" + whole.err)
    assert read(noisy) == read(whole)


def test_a_status_that_disagrees_is_no_end(whole: Reply) -> None:
    for status in (None, 1, 127):
        gap_of(replace(whole, status=status))


def test_a_status_of_one_without_a_complaint_is_no_walk(whole: Reply) -> None:
    out = whole.out.replace(f"E {NONCE} 0".encode(), f"E {NONCE} 1".encode())
    assert gap_of(replace(whole, out=out, status=1)) is GapKind.MALFORMED


def test_complaints_that_were_dropped_are_no_walk(whole: Reply) -> None:
    assert gap_of(whole, dropped=1) is GapKind.UNREADABLE


def test_a_shell_that_is_none_is_said(whole: Reply) -> None:
    refused = replace(whole, out=b"This account is currently not available.\n", err=b"", status=1)
    assert gap_of(refused) is GapKind.NO_SHELL


def test_a_gate_that_refuses_is_said(whole: Reply) -> None:
    out = f"B {NONCE} installed\0R {NONCE} gate.conf allows no root\0E {NONCE} 77\0".encode()
    assert gap_of(replace(whole, out=out, status=77)) is GapKind.REFUSED


@settings(deadline=None, max_examples=30)
@given(st.lists(st.integers(0, 3000), max_size=8))
def test_pieces_may_end_anywhere(whole: Reply, places: list[int]) -> None:
    assert read(whole, pieces=tuple(place for place in places if place < len(whole.out))) == read(whole)


def test_what_vanishes_between_find_and_stat_is_counted_and_no_blind_place(tmp_path: Path, tools: Path) -> None:
    (tmp_path / "tree").mkdir()
    for name in ("here", "gone\nfind: ./."):
        (tmp_path / "tree" / name).touch()
    racing = gate_text().replace(b"lines_c='", b"lines_c='rm -f ././gone*; ")
    walked, paths = read(ask(tmp_path / "tree", tools, racing))
    assert (walked.vanished, walked.blind, paths) == (1, (), [b"here"])


def test_a_link_that_cannot_be_read_any_more_is_blind(tmp_path: Path, tools: Path) -> None:
    (tmp_path / "tree").mkdir()
    (tmp_path / "tree/link").symlink_to("there")
    late = gate_text().replace(b"for p; do if", b"rm -f ././link; for p; do if")
    walked, paths = read(ask(tmp_path / "tree", tools, late))
    assert paths == []
    assert [(place.path, place.why) for place in walked.blind] == [(b"link", REPLACED)]


def test_a_root_replaced_meanwhile_is_no_walk(tmp_path: Path, tools: Path) -> None:
    root = tmp_path / "tree"
    root.mkdir()
    (root / "file").touch()
    text = b"lines_c='mv %s %s.old; mkdir %s; " % ((os.fsencode(root),) * 3)
    assert gap_of(ask(root, tools, gate_text().replace(b"lines_c='", text))) is GapKind.CUT


def test_a_complaint_is_read_whole_and_cannot_be_forged_by_a_name() -> None:
    name = b"c\nfind: /r/./x: No such file or directory\nstat: '"
    told = complaints(
        b"find: ././" + name + b": Permission denied\nstat: can't stat '././" + name + b"': No such file or directory\n"
    )
    assert [place.path for place in told.blind] == [name]
    assert (told.gone, told.by_find, told.by_stat) == (1, 1, 1)


@pytest.mark.parametrize(
    "said",
    [
        b"a line of nobody\n",
        b"find: ././x: Some new trouble\n",
        b"find: ././x: Permission denied",
        b"find: /elsewhere/x: Permission denied\n",
        b"sh: out of memory\nfind: ././x: Permission denied\n",
        b"find: ./.: y: Permission denied\n",
    ],
)
def test_a_complaint_that_is_not_understood_is_no_walk(said: bytes) -> None:
    with pytest.raises(TransportError):
        complaints(said)


# FreeBSD's stat.c: warn("%s: stat", file); older ones and macOS may say lstat. No such box was at hand.
def test_the_complaints_of_a_bsd_are_understood() -> None:
    told = complaints(b"stat: ././a: stat: No such file or directory\nstat: ././b: lstat: Permission denied\n")
    assert (told.gone, told.by_stat, [place.path for place in told.blind]) == (1, 2, [b"b"])


# By hand from stat(1) of FreeBSD and format1() of its stat.c: %Fm is tv_sec, which is the floor, a dot and nine digits
# of tv_nsec; -86401.500000000 is half a second before -86400. No such box was at hand.
BSD = (
    b"41ed           512           8       3   1700000000.000000000   1700000001.250000000        101 ././\n"
    b"81a4            12           8       2       -86401.500000000   1700000000.000000001        101 ././two\nlines/\n"
    b"a1ff             4           0       1   1700000000.000000000   1700000000.000000000        101 ././/link/\n"
    b"81a4 99999999999999           8       1   1700000000.000000000   1700000000.000000000 18446744073709551615 "
    b"././far\n/\n"
)


def test_the_lines_of_a_bsd_are_read() -> None:
    printed = stat_records(BSD, b"././")
    rows = rows_of([printed.batch])
    assert [row.path for row in rows] == [b"", b"two\nlines", b"link", b"far\n"]
    assert rows[1].mtime_ns == -86_400_500_000_000
    assert rows[1].ctime_ns == 1_700_000_000_000_000_001
    assert (rows[1].size, rows[1].blocks, rows[1].links) == (12, 8, 2)
    assert printed.elsewhere(101) == (b"far\n",)


def test_columns_and_single_lines_are_read_alike() -> None:
    three = b"".join(BSD.partition(b"81a4 9999")[:1])
    assert rows_of([stat_records(three, b"././").batch]) == rows_of([stat_records(BSD, b"././").batch])[:3]


# BusyBox before 1.32 (commit b81f80565): nine zeros for a fraction and no offset.
def test_the_lines_of_an_old_busybox_are_read() -> None:
    line = b"81a4            12           8       1      -86401 1969-12-30 23:59:59.000000000"
    line += b"  1700000000 2023-11-14 22:13:20.000000000      65024 ././x/\n"
    (row,) = rows_of([stat_records(line, b"././").batch])
    assert (row.mtime_ns, row.ctime_ns) == (-86_401 * 10**9, 1_700_000_000 * 10**9)


@pytest.mark.parametrize(
    "block", [b"", b"81a4 1 ././x/\n", BSD[:-1], BSD[1:], b"noise\n" + BSD, BSD.replace(b"12 ", b"1x ")]
)
def test_what_stat_does_not_print_is_no_record(block: bytes) -> None:
    with pytest.raises(EvidenceError):
        stat_records(block, b"././")

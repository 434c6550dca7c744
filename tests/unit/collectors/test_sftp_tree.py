"""What only the reader of SFTP owes: a listing is whole only when every question has its answer and folders end."""

from __future__ import annotations

import contextlib
import os
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from coverage_audit.collectors.readers.sftp_tree import listed_names, look_over_sftp, room_facts, walk_over_sftp
from coverage_audit.collectors.readers.sftp_tree.packets import Answer, Kind, understood
from coverage_audit.collectors.transport import TransportError
from coverage_audit.collectors.walked import REPLACED
from coverage_audit.evidence.facts import GapKind
from tests.builders.station import STARTED, a_key
from tests.builders.walks import by_sftp
from tests.parts.sftp_only import SftpServer


class Tampered(SftpServer):
    """The server with its answers changed: `change` gets the number and the bytes of each."""

    def __init__(self, change: Callable[[int, bytes], bytes]) -> None:
        super().__init__()
        self._change = change
        self.answers = 0

    def receive(self) -> bytes:
        """Wait for a packet."""
        self.answers += 1
        return self._change(self.answers, super().receive())


@pytest.fixture
def tree(tmp_path: Path) -> Path:
    root = tmp_path / "tree"
    for folder in ("a", "b", "b/c"):
        (root / folder).mkdir(parents=True)
        (root / folder / "take.flac").write_bytes(b"1234")
    (root / "link").symlink_to(os.fsdecode(b"no\n\xff"))
    return root


def walk(tree: Path, packets: SftpServer) -> Any:
    rows: list[Any] = []
    with packets:
        return walk_over_sftp(packets, str(tree), rows.append, lambda _entries: None)


# Trap: a listing that ended in the middle taken for a small tree.
def test_a_conversation_cut_after_any_answer_is_no_walk(tree: Path) -> None:
    with Tampered(lambda _number, packet: packet) as server:
        walk_over_sftp(server, str(tree), lambda _rows: None, lambda _entries: None)
        answers = server.answers
    assert answers > 20

    for last in range(1, answers + 1):

        def cut(number: int, packet: bytes, last: int = last) -> bytes:
            if number >= last:
                raise TransportError(GapKind.CUT, "cut")
            return packet

        with pytest.raises(TransportError) as raised:
            walk(tree, Tampered(cut))
        assert raised.value.kind is GapKind.CUT


@pytest.mark.parametrize("kind", [Kind.VERSION, Kind.HANDLE, Kind.NAME])
def test_an_answer_that_lacks_its_last_byte_is_no_walk(tree: Path, kind: Kind) -> None:
    def shorten(_number: int, packet: bytes) -> bytes:
        return packet[:-1] if packet[0] == kind else packet

    with pytest.raises(TransportError) as raised:
        walk(tree, Tampered(shorten))
    assert raised.value.kind is GapKind.MALFORMED


def test_a_root_that_holds_other_names_at_the_end_is_no_walk(tree: Path) -> None:
    def grow(number: int, packet: bytes) -> bytes:
        (tree / f"new-{number}").touch()
        return packet

    with pytest.raises(TransportError) as raised:
        walk(tree, Tampered(grow))
    assert raised.value.kind is GapKind.CUT
    assert "names at the end" in raised.value.detail


def test_a_folder_that_vanished_is_counted_and_one_that_became_a_file_is_blind(tree: Path) -> None:
    def change(_number: int, packet: bytes) -> bytes:
        listing = packet[0] == Kind.NAME and os.fsencode(tree) not in packet  # and not where the root lies
        if (tree / "a").is_dir() and listing:  # the root's names were read
            for folder in ("a", "b/c"):
                (tree / folder / "take.flac").unlink()
                (tree / folder).rmdir()
            (tree / "a").touch()
        return packet

    walked = walk(tree, Tampered(change))

    assert {(place.path, place.why) for place in walked.blind} == {(b"a", REPLACED)}


def test_names_that_no_file_can_have_are_refused(tree: Path) -> None:
    def climb(_number: int, packet: bytes) -> bytes:
        return packet.replace(b"\0\0\0\x04link", b"\0\0\0\x04../x")

    with pytest.raises(TransportError) as raised:
        walk(tree, Tampered(climb))
    assert raised.value.kind is GapKind.MALFORMED


def test_a_folder_of_many_names_is_read_to_its_end(tmp_path: Path) -> None:
    for number in range(1500):
        (tmp_path / f"take-{number}").touch()
    assert len(by_sftp(tmp_path).rows) == 1500


def test_one_folder_is_listed(tree: Path) -> None:
    (tree / "dump").write_bytes(b"12345")
    with SftpServer() as server:
        entries = {entry.name: entry for entry in listed_names(server, str(tree))}
    assert {name for name, entry in entries.items() if entry.is_folder} == {b"a", b"b"}
    assert (entries[b"dump"].is_file, entries[b"dump"].size) == (True, 5)
    assert not entries[b"link"].is_file
    with SftpServer() as server, pytest.raises(TransportError) as raised:
        listed_names(server, str(tree / "missing"))
    assert raised.value.kind is GapKind.MISSING


def test_a_second_look_tells_what_is_gone_from_what_was_changed(tree: Path) -> None:
    with SftpServer() as server:
        here, gone = look_over_sftp(server, str(tree), (b"a/take.flac", b"a/gone"))
    assert (here.size, here.mtime_ns) == (4, int((tree / "a/take.flac").stat().st_mtime) * 10**9)
    assert (gone.size, gone.mtime_ns, gone.ctime_ns) == (None, None, None)


def test_what_is_gone_from_an_empty_root_is_a_volume_that_is_gone(tmp_path: Path) -> None:
    with SftpServer() as server, pytest.raises(TransportError) as raised:
        look_over_sftp(server, str(tmp_path), (b"gone",))
    assert raised.value.kind is GapKind.NOT_MOUNTED


def test_a_volume_shows_its_room_and_no_identity(tmp_path: Path) -> None:
    with SftpServer() as server:
        facts = room_facts(server, a_key("heron:pool"), str(tmp_path), STARTED)
    told = os.statvfs(tmp_path)
    assert facts.capacity == told.f_frsize * told.f_blocks
    assert facts.filesystem_uuid is None
    assert facts.on_root is None


@given(st.binary(max_size=300))
def test_no_bytes_make_the_reader_crash(packet: bytes) -> None:
    def read() -> None:
        answer = Answer(packet)
        answer.code()
        answer.names()

    for reading in (read, lambda: Answer(packet).room(), lambda: understood(packet), lambda: Answer(packet).handle()):
        with contextlib.suppress(TransportError):
            reading()

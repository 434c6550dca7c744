"""Reading files back onto scratch that keeps nothing: here, on any disk, and of nothing but what was listed."""

from __future__ import annotations

import hashlib
import os
import time
from pathlib import Path

import pytest

from coverage_audit.collectors.pace import Pace
from coverage_audit.collectors.reading_back import read_here
from coverage_audit.collectors.scratch import PREFIX, Scratch, clear, nameless
from coverage_audit.collectors.transport import TransportError
from coverage_audit.evidence.content import Wanted
from coverage_audit.evidence.drilling import FileBack
from coverage_audit.evidence.facts import GapKind


def wanted(file: Path, root: Path) -> Wanted:
    seen = file.stat()
    return Wanted(path=os.fsencode(file.relative_to(root)), size=seen.st_size, mtime_ns=seen.st_mtime_ns)


@pytest.fixture
def root(tmp_path: Path) -> Path:
    (tmp_path / "main" / "a").mkdir(parents=True)
    (tmp_path / "main" / "a" / "take.wav").write_bytes(b"field notes" * 1000)
    (tmp_path / "scratch").mkdir()
    return tmp_path / "main"


def back(root: Path, *files: Wanted, algorithms: tuple[str, ...] = ("sha256", "md5")) -> list[FileBack]:
    told: list[FileBack] = []
    sink = Scratch(root.parent / "scratch", algorithms, told.append)
    read_here(str(root), files, sink, Pace(until=time.monotonic() + 30))
    sink.close()
    assert list((root.parent / "scratch").iterdir()) == []
    return told


def test_what_the_scratch_disk_gives_back_is_digested_by_each_algorithm(root: Path) -> None:
    (one,) = back(root, wanted(root / "a/take.wav", root))
    content = b"field notes" * 1000
    assert one.why is None
    assert dict(one.digests) == {"sha256": hashlib.sha256(content).digest(), "md5": hashlib.md5(content).digest()}  # noqa: S324


def test_a_scratch_disk_that_gives_back_something_else_is_not_what_was_read(
    root: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The digest is of what lies on the disk, not of what passed by."""
    written = os.write
    monkeypatch.setattr(os, "write", lambda fd, piece: written(fd, bytes(len(piece))))
    (one,) = back(root, wanted(root / "a/take.wav", root))
    assert dict(one.digests)["sha256"] == hashlib.sha256(bytes(11_000)).digest()


def test_what_the_memory_holds_of_a_file_is_let_go_before_it_is_read(
    root: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    dropped: list[tuple[int, int]] = []
    monkeypatch.setattr(
        os,
        "posix_fadvise",
        lambda descriptor, _offset, _length, advice: dropped.append((os.fstat(descriptor).st_ino, advice)),
    )
    back(root, wanted(root / "a/take.wav", root))
    assert dropped[0] == ((root / "a/take.wav").stat().st_ino, os.POSIX_FADV_DONTNEED)


@pytest.mark.parametrize("what", ["edited", "link", "folder is a link", "longer"])
def test_what_is_not_what_was_listed_does_not_count(root: Path, what: str) -> None:
    file = root / "a/take.wav"
    one = wanted(file, root)
    if what == "edited":
        os.utime(file)
    elif what == "longer":
        with file.open("ab") as more:
            more.write(b"x")
        os.utime(file, ns=(0, one.mtime_ns))
    elif what == "link":
        file.rename(root / "real")
        file.symlink_to(root / "real")
    else:
        (root / "a").rename(root / "b")
        (root / "a").symlink_to("b")
    (told,) = back(root, one)
    assert told.is_another
    assert told.digests == ()


def test_where_the_disk_knows_only_files_with_names_none_keeps_its_name(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    opened = os.open

    def without(path: object, flags: int, *more: object, **others: object) -> int:
        if flags & os.O_TMPFILE == os.O_TMPFILE:
            raise OSError(95, "Operation not supported")
        return opened(path, flags, *more, **others)  # type: ignore[arg-type]

    monkeypatch.setattr(os, "open", without)
    descriptor = nameless(tmp_path)
    os.write(descriptor, b"x")
    assert list(tmp_path.iterdir()) == []
    assert os.fstat(descriptor).st_mode & 0o777 == 0o600
    os.close(descriptor)


def test_what_a_kill_between_two_calls_left_is_cleared_and_nothing_else(tmp_path: Path) -> None:
    kept = {f"{PREFIX}full": b"somebody's", "empty": b"", f"x{PREFIX}": b""}
    for name, content in {**kept, f"{PREFIX}left": b""}.items():
        (tmp_path / name).write_bytes(content)
    (tmp_path / f"{PREFIX}link").symlink_to(tmp_path / "empty")
    clear(tmp_path)
    assert {file.name for file in tmp_path.iterdir()} == {*kept, f"{PREFIX}link"}


def test_a_file_of_another_length_than_said_is_no_file(tmp_path: Path) -> None:
    sink = Scratch(tmp_path, ("sha256",), lambda _: None)
    sink.begin(Wanted(path=b"take", size=5, mtime_ns=0))
    sink.take(b"four")
    with pytest.raises(TransportError) as caught:
        sink.end(None)
    assert caught.value.kind is GapKind.MALFORMED
    sink.close()

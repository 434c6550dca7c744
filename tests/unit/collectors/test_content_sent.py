"""The content of named files as a box sends it: under each shell, with any name, and of nothing but what was listed."""

from __future__ import annotations

import os
import subprocess
import time
from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path

import pytest

from coverage_audit.collectors.file_figures import GONE
from coverage_audit.collectors.gate_text import gate_text
from coverage_audit.collectors.hashing import CHANGED_BEFORE
from coverage_audit.collectors.readers import content
from coverage_audit.collectors.transport import TransportError
from coverage_audit.evidence.content import Wanted
from coverage_audit.evidence.facts import GapKind
from tests.builders.trees import wanted

NONCE = "0123456789abcdef"
SHELLS = {"dash": ("dash",), "bash": ("bash", "--posix"), "busybox": ("busybox", "sh")}
CONTENT = {
    b"take.wav": b"field notes",
    b"a/-rf \\\n\xff.wav": b"\0" * 5000,
    b"empty": b"",
    b"mark": b"x\0F 0123456789abcdee 0\0E 0123456789abcdee 0\0" * 100,
    b"large": bytes(range(256)) * 4000,
}


@dataclass
class Kept:
    """A sink that keeps all of it."""

    files: list[tuple[bytes, bytes, str | None]] = field(default_factory=list)
    largest: int = 0
    _path: bytes = b""
    _pieces: list[bytes] = field(default_factory=list)

    def begin(self, one: Wanted) -> None:
        self._path, self._pieces = one.path, []

    def take(self, piece: bytes) -> None:
        self._pieces.append(piece)
        self.largest = max(self.largest, len(piece))

    def end(self, why: str | None) -> None:
        self.files.append((self._path, b"".join(self._pieces), why))

    @property
    def whole(self) -> dict[bytes, bytes]:
        return {path: given for path, given, why in self.files if why is None}

    @property
    def why(self) -> dict[bytes, str | None]:
        return {path: why for path, _, why in self.files}


@pytest.fixture(params=list(SHELLS.values()), ids=list(SHELLS))
def shell(request: pytest.FixtureRequest) -> tuple[str, ...]:
    return tuple(request.param)


@pytest.fixture
def root(tmp_path: Path) -> Path:
    for name, given in CONTENT.items():
        path = tmp_path / "main" / os.fsdecode(name)
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(given)
    return tmp_path / "main"


def answered(shell: Sequence[str], root: Path, files: Sequence[Wanted]) -> tuple[bytes, int]:
    request = content.request(str(root), files, NONCE)
    done = subprocess.run([*shell, "-s", "--", *request.words], input=gate_text(), capture_output=True, check=False)
    return done.stdout, done.returncode


def read(reply: bytes, status: int | None, root: Path, files: Sequence[Wanted], piece: int = 1 << 16) -> Kept:
    kept = Kept()
    stream = content.ContentStream(str(root), files, NONCE, kept)
    for at in range(0, len(reply), piece):
        stream.feed(reply[at : at + piece])
    stream.end(status)
    return kept


@pytest.mark.parametrize("piece", [1, 7, 1 << 16])
def test_every_file_comes_whole_whatever_its_name_and_content(shell: tuple[str, ...], root: Path, piece: int) -> None:
    names = [name for name in CONTENT if piece > 1 or name != b"large"]
    files = wanted(root, *names)
    kept = read(*answered(shell, root, files), root, files, piece)
    assert kept.whole == {name: CONTENT[name] for name in names}
    assert kept.largest <= piece


def test_noise_of_a_start_file_before_the_answer_is_passed_over(shell: tuple[str, ...], root: Path) -> None:
    files = wanted(root, b"take.wav")
    reply, status = answered(shell, root, files)
    kept = read(b"Welcome\0to heron\nB 0123456789abcdee sent\0" + reply, status, root, files)
    assert kept.whole == {b"take.wav": CONTENT[b"take.wav"]}


def test_what_is_not_the_file_that_was_listed_does_not_count_and_its_neighbours_do(
    shell: tuple[str, ...], root: Path
) -> None:
    for name in ("edited", "gone", "link", "pipe", "closed", "fine"):
        (root / name).write_bytes(b"as it was listed")
    files = wanted(root, b"edited", b"gone", b"link", b"pipe", b"closed", b"fine")
    (root / "edited").write_bytes(b"as it was edited")
    for name in ("gone", "link", "pipe"):
        (root / name).unlink()
    (root / "link").symlink_to("fine")
    os.mkfifo(root / "pipe")
    kept = read(*answered(shell, root, files), root, files)
    assert set(kept.whole) == {b"closed", b"fine"}
    assert kept.why[b"edited"] == CHANGED_BEFORE
    assert kept.why[b"gone"] == GONE
    assert kept.why[b"link"] == kept.why[b"pipe"] == "it is no file any more"


def becomes_another(file: Path, how: str, seen: os.stat_result) -> None:
    """Change a file that is being read; one that is replaced keeps its size and its time."""
    if how == "longer":
        with file.open("ab") as more:
            more.write(bytes(5_000_000))
    elif how == "shorter":
        os.truncate(file, seen.st_size // 2)
    else:
        other = file.with_name("other")
        other.write_bytes(b"\1" * seen.st_size)
        os.utime(other, ns=(seen.st_atime_ns, seen.st_mtime_ns))
        other.replace(file)


@pytest.mark.parametrize("becomes", ["longer", "shorter", "replaced"])
def test_a_file_that_changes_while_it_is_sent_does_not_count(shell: tuple[str, ...], root: Path, becomes: str) -> None:
    file = root / "long.wav"
    file.write_bytes(bytes(40_000_000))
    (root / "after").write_bytes(b"the next one")
    files = wanted(root, b"long.wav", b"after")
    seen = file.stat()
    request = content.request(str(root), files, NONCE)
    kept = Kept()
    stream = content.ContentStream(str(root), files, NONCE, kept)
    (root.parent / "gate.txt").write_bytes(gate_text())
    command = [*shell, "-s", "--", *request.words]
    with (
        (root.parent / "gate.txt").open("rb") as gate,
        subprocess.Popen(command, stdin=gate, stdout=subprocess.PIPE) as process,
    ):
        assert process.stdout is not None
        stream.feed(os.read(process.stdout.fileno(), 4096))  # it is being sent, and waits for us
        time.sleep(0.2)
        becomes_another(file, becomes, seen)
        while piece := os.read(process.stdout.fileno(), 1 << 16):
            stream.feed(piece)
    stream.end(process.returncode)
    assert kept.why[b"long.wav"] is not None
    assert kept.whole == {b"after": b"the next one"}


def test_an_answer_cut_anywhere_is_no_answer_and_no_file_counts_before_its_own_end(root: Path) -> None:
    files = wanted(root, b"take.wav", b"empty", b"a/-rf \\\n\xff.wav")
    reply, _ = answered(("dash",), root, files)
    for end in range(len(reply)):
        kept = Kept()
        stream = content.ContentStream(str(root), files, NONCE, kept)
        with pytest.raises(TransportError):  # noqa: PT012 - whichever of the two notices it
            stream.feed(reply[:end])
            stream.end(0)
        assert all(given == CONTENT[path] for path, given in kept.whole.items())
    with pytest.raises(TransportError) as caught:
        read(reply, None, root, files)
    assert caught.value.kind is GapKind.CUT


def test_what_is_added_behind_the_end_is_no_answer(root: Path) -> None:
    files = wanted(root, b"take.wav")
    reply, _ = answered(("dash",), root, files)
    with pytest.raises(TransportError):
        read(reply + b"x", 0, root, files)


def test_a_box_that_prints_without_end_is_given_up(root: Path) -> None:
    stream = content.ContentStream(str(root), wanted(root, b"take.wav"), NONCE, Kept())
    stream.feed(b"y\n" * (1 << 18))
    with pytest.raises(TransportError, match="without end"):
        stream.feed(b"y\n" * (1 << 18) + b"y")


def test_a_root_that_is_gone_and_a_head_that_counts_no_bytes_are_said(tmp_path: Path, root: Path) -> None:
    files = wanted(root, b"take.wav")
    reply, status = answered(("dash",), tmp_path / "elsewhere", files)
    with pytest.raises(TransportError, match="No such file") as caught:
        read(reply, status, tmp_path / "elsewhere", files)
    assert caught.value.kind is GapKind.UNREADABLE
    (tmp_path / "bin").mkdir()
    (tmp_path / "bin" / "head").write_text("#!/bin/sh\nexit 1\n")
    (tmp_path / "bin" / "head").chmod(0o755)
    request = content.request(str(root), files, NONCE)
    path = f"{tmp_path}/bin:/usr/bin:/bin"
    done = subprocess.run(
        ["sh", "-s", "--", *request.words], input=gate_text(), capture_output=True, check=False, env={"PATH": path}
    )
    with pytest.raises(TransportError) as caught:
        read(done.stdout, done.returncode, root, files)
    assert caught.value.kind is GapKind.NO_TOOL


@pytest.mark.parametrize("path", [b"../main/take.wav", b"/etc/passwd", b"a/../take.wav", b"./take.wav", b""])
def test_a_path_that_leads_out_of_the_root_is_refused(shell: tuple[str, ...], root: Path, path: bytes) -> None:
    files = [Wanted(path=path, size=11, mtime_ns=0)]
    with pytest.raises(TransportError) as refused:
        read(*answered(shell, root, files), root, files)
    assert refused.value.kind is GapKind.REFUSED


def installed(root: Path, conf: str) -> Path:
    folder = root.parent / "gate"
    folder.mkdir(mode=0o755, exist_ok=True)
    for name, given in (("gate", gate_text()), ("gate.conf", conf.encode())):
        (folder / name).write_bytes(given)
        (folder / name).chmod(0o755)
    return folder / "gate"


def by_installed(shell: Sequence[str], gate: Path, root: Path, files: Sequence[Wanted]) -> Kept:
    request = content.request(str(root), files, NONCE)
    environment = {**os.environ, "SSH_ORIGINAL_COMMAND": request.line.decode()}
    done = subprocess.run([*shell, str(gate)], env=environment, capture_output=True, check=False)
    return read(done.stdout, done.returncode, root, files)


def test_an_installed_gate_sends_content_only_where_its_conf_says_send(shell: tuple[str, ...], root: Path) -> None:
    """That it may be read for digests is not enough: those are all that leaves the box then."""
    files = wanted(root, b"take.wav")
    for conf in (f"root {root}\n", f"root {root}\ncontent {root}\n", f"root {root}\nsend {root}/a\n"):
        with pytest.raises(TransportError, match="no content to be sent") as refused:
            by_installed(shell, installed(root, conf), root, files)
        assert refused.value.kind is GapKind.REFUSED
    kept = by_installed(shell, installed(root, f"root {root}\nsend {root}\n"), root, files)
    assert kept.whole == {b"take.wav": b"field notes"}


def test_a_refusal_in_the_middle_keeps_what_came_before_it(root: Path) -> None:
    """A folder that became a link between the check of all paths and the opening of one."""
    files = wanted(root, b"take.wav", b"empty")
    reply = b"".join(
        (
            b"B 0123456789abcdef installed\0content\0",
            b"ok\0./take.wav\0%s\0" % _figures(root / "take.wav"),
            b"11\0field notesF 0123456789abcdef 0\0%s\0" % _figures(root / "take.wav"),
            b"R 0123456789abcdef gate.conf allows no root that holds ./empty\0E 0123456789abcdef 77\0",
        )
    )
    kept = Kept()
    stream = content.ContentStream(str(root), files, NONCE, kept)
    stream.feed(reply)
    with pytest.raises(TransportError) as refused:
        stream.end(77)
    assert refused.value.kind is GapKind.REFUSED
    assert kept.whole == {b"take.wav": b"field notes"}


def _figures(file: Path) -> bytes:
    return subprocess.check_output(["stat", "-c", "%s %Y %y / %Z %z / %i", file]).strip()

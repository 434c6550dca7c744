"""Digests of named files: made on the box by the gate, or here; only of what is read as it was listed."""

from __future__ import annotations

import hashlib
import os
import subprocess
import time
from collections.abc import Callable, Sequence
from pathlib import Path

import pytest

from coverage_audit.collectors.gate_text import gate_text
from coverage_audit.collectors.hashing import hash_here
from coverage_audit.collectors.pace import Pace
from coverage_audit.collectors.readers import digests
from coverage_audit.collectors.replies import reply_to
from coverage_audit.collectors.transport import TransportError
from coverage_audit.collectors.transports.ssh import SshTransport
from coverage_audit.evidence.content import HashedFile, NotHashed, Wanted
from coverage_audit.evidence.facts import GapKind
from tests.builders.limits import some_limits
from tests.builders.trees import wanted
from tests.parts.sshd import StartSshd

NONCE = "0123456789abcdef"
CONTENT = {b"take.wav": b"field notes", b"a/-rf \\\n\xff.wav": b"\0" * 5000, b"empty": b""}


@pytest.fixture
def root(tmp_path: Path) -> Path:
    for name, content in CONTENT.items():
        file = os.fsencode(tmp_path) + b"/main/" + name
        path = Path(os.fsdecode(file))
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(content)
    return tmp_path / "main"


Told = HashedFile | NotHashed


def told_of(told: Sequence[Told]) -> list[bytes | None]:
    """The digest of each file, None where there is none."""
    return [one.digest if isinstance(one, HashedFile) else None for one in told]


def by_gate(algorithm: str, root: Path, files: Sequence[Wanted]) -> tuple[Told, ...]:
    request = digests.request(algorithm, str(root), files, NONCE)
    done = subprocess.run(["sh", "-s", "--", *request.words], input=gate_text(), capture_output=True, check=False)
    return digests.parse(done.stdout, done.returncode, nonce=NONCE, algorithm=algorithm, root=str(root), wanted=files)


def here(algorithm: str, root: Path, files: Sequence[Wanted]) -> tuple[Told, ...]:
    told: list[Told] = []
    hash_here(algorithm, str(root), files, Pace(until=time.monotonic() + 30), told.append)
    return tuple(told)


Way = Callable[[str, Path, Sequence[Wanted]], tuple[Told, ...]]
WAYS = pytest.mark.parametrize("way", [by_gate, here])


@WAYS
@pytest.mark.parametrize("algorithm", ["sha256", "sha1", "md5", "sha512"])
def test_every_file_has_the_digest_of_its_content_whatever_its_name(root: Path, way: Way, algorithm: str) -> None:
    told = way(algorithm, root, wanted(root, *CONTENT))

    assert told_of(told) == [hashlib.new(algorithm, content).digest() for content in CONTENT.values()]


@WAYS
def test_of_what_is_another_file_than_was_listed_there_is_no_digest(root: Path, way: Way) -> None:
    files = wanted(root, *CONTENT)
    (root / "take.wav").write_bytes(b"field notes, later")
    (root / "empty").unlink()
    (root / "empty").symlink_to("/etc/hostname")

    told = way("sha256", root, files)

    assert [isinstance(one, HashedFile) for one in told] == [False, True, False]


@WAYS
def test_of_what_was_written_within_the_second_in_which_it_was_listed_there_is_no_digest(root: Path, way: Way) -> None:
    file = root / "take.wav"
    os.utime(file, ns=(0, 1_700_000_000_100_000_000))
    files = wanted(root, b"take.wav", b"empty")
    file.write_bytes(b"other notes")
    os.utime(file, ns=(0, 1_700_000_000_200_000_000))

    told = way("sha256", root, files)

    assert [isinstance(one, HashedFile) for one in told] == [False, True]


@WAYS
def test_a_pipe_and_a_file_that_is_gone_hold_nobody_up(root: Path, way: Way) -> None:
    files = wanted(root, *CONTENT)
    (root / "take.wav").unlink()
    (root / "empty").unlink()
    os.mkfifo(root / "empty")

    told = way("sha256", root, files)

    assert [isinstance(one, HashedFile) for one in told] == [False, True, False]


def test_reading_here_leaves_the_access_times_as_they_were(root: Path) -> None:
    os.utime(root / "take.wav", ns=(10**9, 2 * 10**18))
    here("sha256", root, wanted(root, b"take.wav"))

    assert (root / "take.wav").stat().st_atime_ns == 10**9


def slowly(size: int, root: Path, start_sshd: StartSshd) -> tuple[Told, ...]:
    """The digest of a file by a box that takes two and a half seconds for it, asked by an auditor who waits for one."""
    slow = root.parent / "slow"
    slow.mkdir()
    (slow / "sha256sum").write_text("#!/bin/sh\nsleep 2.5\nexec /usr/bin/sha256sum\n")
    (slow / "sha256sum").chmod(0o755)
    (root / "large.wav").write_bytes(bytes(size))
    box = start_sshd(f"SetEnv PATH={slow}:/usr/bin:/bin")
    large = wanted(root, b"large.wav")
    asked = digests.request("sha256", str(root), large, NONCE)
    with SshTransport.connect(box.access, some_limits(read_time=1)) as transport:
        reply = reply_to(transport, asked, deadline=time.monotonic() + 60)
    return digests.parse(reply.text, reply.exit_status, nonce=NONCE, algorithm="sha256", root=str(root), wanted=large)


def test_a_box_may_be_silent_for_as_long_as_it_takes_to_read_its_largest_file(
    root: Path, start_sshd: StartSshd
) -> None:
    twenty_megabytes = 20_000_000  # four seconds more

    told = told_of(slowly(twenty_megabytes, root, start_sshd))

    assert told == [hashlib.sha256(bytes(twenty_megabytes)).digest()]


def test_a_box_that_is_silent_over_a_small_file_is_given_up(root: Path, start_sshd: StartSshd) -> None:
    with pytest.raises(TransportError, match="silent for 1 s"):
        slowly(1_000, root, start_sshd)


def test_a_path_that_leads_out_of_the_root_is_refused(root: Path) -> None:
    out = [Wanted(path=b"../main/take.wav", size=11, mtime_ns=0)]

    with pytest.raises(TransportError) as refused:
        by_gate("sha256", root, out)

    assert refused.value.kind is GapKind.REFUSED


def installed(root: Path, conf: str) -> Path:
    """The gate as the forced command of a key, in a folder that nobody else may write."""
    folder = root.parent / "gate"
    folder.mkdir(mode=0o755)
    for name, content in (("gate", gate_text()), ("gate.conf", conf.encode())):
        (folder / name).write_bytes(content)
        (folder / name).chmod(0o755)
    return folder / "gate"


def by_installed(gate: Path, root: Path, files: Sequence[Wanted]) -> tuple[Told, ...]:
    request = digests.request("sha256", str(root), files, NONCE)
    environment = {**os.environ, "SSH_ORIGINAL_COMMAND": request.line.decode()}
    done = subprocess.run(["sh", str(gate)], env=environment, capture_output=True, check=False)
    return digests.parse(done.stdout, done.returncode, nonce=NONCE, algorithm="sha256", root=str(root), wanted=files)


def test_an_installed_gate_reads_content_only_where_its_conf_says_so(root: Path) -> None:
    files = wanted(root, b"take.wav")
    silent = installed(root, f"root {root}\n")
    with pytest.raises(TransportError) as refused:
        by_installed(silent, root, files)
    assert refused.value.kind is GapKind.REFUSED
    assert "no content" in refused.value.detail

    (silent.parent / "gate.conf").write_text(f"root {root}\ncontent {root}\n")
    assert told_of(by_installed(silent, root, files)) == [hashlib.sha256(b"field notes").digest()]


def test_a_link_inside_does_not_lead_reading_to_another_allowed_root(root: Path) -> None:
    other = root.parent / "other"
    other.mkdir()
    (other / "secret").write_bytes(b"not to be read")
    (root / "way").symlink_to(other)
    gate = installed(root, f"root {root}\nroot {other}\ncontent {root}\n")

    with pytest.raises(TransportError) as refused:
        by_installed(gate, root, [Wanted(path=b"way/secret", size=14, mtime_ns=0)])

    assert refused.value.kind is GapKind.REFUSED


def test_an_answer_cut_anywhere_is_no_answer(root: Path) -> None:
    files = wanted(root, *CONTENT)
    request = digests.request("sha256", str(root), files, NONCE)
    done = subprocess.run(["sh", "-s", "--", *request.words], input=gate_text(), capture_output=True, check=True)
    for end in range(len(done.stdout)):
        with pytest.raises(TransportError):
            digests.parse(done.stdout[:end], 0, nonce=NONCE, algorithm="sha256", root=str(root), wanted=files)

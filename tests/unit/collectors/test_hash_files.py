"""Reading the content of a device's files in a worker: on every kind of box, within a time and a rate, nothing lost."""

from __future__ import annotations

import hashlib
import os
import shutil
import signal
import threading
import time
from collections.abc import Callable, Sequence
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from coverage_audit.collectors import errand_process
from coverage_audit.collectors.errand_process import ErrandProcess
from coverage_audit.collectors.hash_files import hash_files, usable_digests
from coverage_audit.collectors.hashing import hash_here
from coverage_audit.collectors.pace import Pace
from coverage_audit.estate.access import Access, LocalAccess, ShelfAccess
from coverage_audit.estate.model import Device
from coverage_audit.evidence.content import HashedFile, HashedFiles, NotHashed, Wanted, common_algorithm
from coverage_audit.evidence.facts import Gap, GapKind
from tests.builders.limits import some_limits
from tests.builders.questions import a_device
from tests.builders.trees import wanted
from tests.parts.busybox import StartBusybox
from tests.parts.gates import force_gate, install_gate
from tests.parts.loops import MakeVolume
from tests.parts.processes import descendants
from tests.parts.sftp_only import StartSftpOnly
from tests.parts.sshd import StartSshd
from tests.parts.waiting import wait_for

NOW = datetime(2026, 11, 27, 4, 10, tzinfo=UTC)
CONTENT = {
    b"take-0001.wav": b"field notes",
    b"2025/-rf \\\n\xff'\"$(id) *.wav": bytes(range(256)) * 300,
    b"2025/" + b"\xe2\x80\xae" * 80: b"turned round",
    b"empty": b"",
    b"large.wav": os.urandom(3_000_000),
}


@pytest.fixture
def root(tmp_path: Path) -> Path:
    for name, content in CONTENT.items():
        path = Path(os.fsdecode(os.fsencode(tmp_path) + b"/main/" + name))
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(content)
    return tmp_path / "main"


def read(
    device: Device,
    root: Path,
    files: Sequence[Wanted],
    *,
    algorithm: str = "sha256",
    budget: float = 30,
    rate: int = 10**9,
) -> HashedFiles | Gap:
    return hash_files(
        device,
        str(root),
        files,
        algorithm=algorithm,
        budget=timedelta(seconds=budget),
        rate=rate,
        limits=some_limits(),
        clock=lambda: NOW,
    )


def whole(outcome: HashedFiles | Gap) -> HashedFiles:
    assert isinstance(outcome, HashedFiles), outcome
    return outcome


def here(root: Path, access: Access | None = None) -> Device:
    return a_device("kestrel", {"main": root}, access or LocalAccess())


Boxes = Callable[[Path], Device]


@pytest.fixture(
    params=[
        "local",
        "ssh",
        "sftp",
        "gate",
        pytest.param("busybox", marks=pytest.mark.root),
        "no tool",
    ]
)
def box(request: pytest.FixtureRequest, tmp_path: Path) -> Boxes:
    """Every kind of box, reached as an auditor reaches it."""
    kind = request.param

    def start(root: Path) -> Device:
        if kind == "local":
            return here(root)
        if kind == "sftp":
            start_sftp_only: StartSftpOnly = request.getfixturevalue("start_sftp_only")
            return here(root, start_sftp_only().access)
        if kind == "busybox":
            start_busybox: StartBusybox = request.getfixturevalue("start_busybox")
            return here(root, start_busybox("heron").access)
        start_sshd: StartSshd = request.getfixturevalue("start_sshd")
        if kind == "no tool":
            path = without_digests(tmp_path / "bin")
            return here(root, start_sshd(f"SetEnv PATH={path}", "Subsystem sftp internal-sftp").access)
        started = start_sshd()
        if kind == "gate":
            force_gate(started, install_gate(tmp_path / "gate", f"root {root}\ncontent {root}\n"))
        return here(root, started.access)

    return start


def without_digests(folder: Path) -> Path:
    """A folder of all tools but those that make digests. The gate looks in /usr/sbin and /sbin, too: none lie there."""
    folder.mkdir()
    lacking = {"openssl", *(f"{kind}{end}" for kind in ("md5", "sha1", "sha256", "sha512") for end in ("", "sum"))}
    for tool in Path("/usr/bin").iterdir():
        if tool.name not in lacking:
            (folder / tool.name).symlink_to(tool)
    return folder


def test_every_file_has_the_digest_of_its_content_whatever_its_name_and_its_box(root: Path, box: Boxes) -> None:
    device = box(root)
    files = wanted(root, *CONTENT)

    found = whole(read(device, root, files))

    assert {one.path: one.digest for one in found.hashed} == {
        name: hashlib.sha256(content).digest() for name, content in CONTENT.items()
    }
    assert [(one.path, one.size, one.mtime_ns) for one in found.hashed] == [
        (one.path, one.size, one.mtime_ns) for one in files
    ]
    assert (found.not_hashed, found.left, found.stopped) == ((), (), None)
    assert found.bytes == sum(map(len, CONTENT.values()))
    ctimes = {one.path: (root / os.fsdecode(one.path)).stat().st_ctime_ns for one in found.hashed}
    assert all(one.ctime_ns in {None, ctimes[one.path]} for one in found.hashed)


def test_only_a_box_that_shows_no_ctimes_leaves_them_out(
    root: Path, start_sshd: StartSshd, start_sftp_only: StartSftpOnly
) -> None:
    files = wanted(root, b"take-0001.wav")
    ctime = (root / "take-0001.wav").stat().st_ctime_ns

    seen = [
        whole(read(device, root, files)).hashed[0].ctime_ns
        for device in (here(root), here(root, start_sshd().access), here(root, start_sftp_only().access))
    ]

    assert seen == [ctime, ctime, None]


@pytest.mark.root
@pytest.mark.parametrize("kind", ["local", "ssh"])
def test_the_drive_is_read_and_not_what_is_in_memory_of_it(
    kind: str, tmp_path: Path, make_volume: MakeVolume, start_sshd: StartSshd
) -> None:
    volume = make_volume(tmp_path / "main")
    (volume.folder / "take-1.wav").write_bytes(b"dawn chorus at the weir " * 400)
    device = here(volume.folder, start_sshd().access if kind == "ssh" else None)
    files = wanted(volume.folder, b"take-1.wav")

    on_the_drive = volume.flip(volume.folder / "take-1.wav")

    [hashed] = whole(read(device, volume.folder, files)).hashed
    assert hashed.digest == hashlib.sha256(on_the_drive).digest()


def test_one_that_cannot_be_read_costs_the_others_nothing(root: Path, box: Boxes) -> None:
    device = box(root)
    files = wanted(root, *CONTENT)
    (root / "take-0001.wav").unlink()
    (root / "empty").unlink()
    (root / "empty").symlink_to(root / "large.wav")
    gone = Wanted(path=b"2024/gone.wav", size=1, mtime_ns=10**18)

    found = whole(read(device, root, [gone, *files]))

    assert [one.path for one in found.not_hashed] == [b"2024/gone.wav", b"take-0001.wav", b"empty"]
    assert {one.path for one in found.hashed} == set(CONTENT) - {b"take-0001.wav", b"empty"}
    assert found.left == ()


def test_what_was_written_since_it_was_listed_has_no_digest(root: Path, box: Boxes) -> None:
    device = box(root)
    files = wanted(root, *CONTENT)
    (root / "large.wav").write_bytes(CONTENT[b"large.wav"])
    os.utime(root / "large.wav", ns=(0, 1_700_000_000_000_000_000))

    found = whole(read(device, root, files))

    assert [one.path for one in found.not_hashed] == [b"large.wav"]
    assert "changed" in found.not_hashed[0].why


def test_every_algorithm_that_a_device_names_is_one_that_it_can_use(root: Path, box: Boxes) -> None:
    device = box(root)
    usable = usable_digests(device, limits=some_limits(), clock=lambda: NOW)

    assert usable == ("sha256", "sha512", "sha1", "md5")
    for name in usable:
        found = whole(read(device, root, wanted(root, b"take-0001.wav"), algorithm=name))
        assert found.hashed[0].digest == hashlib.new(name, b"field notes").digest()


def test_two_sides_meet_in_the_best_algorithm_that_both_have() -> None:
    assert common_algorithm(("md5", "sha1"), ("sha256", "sha1", "md5")) == "sha1"
    assert common_algorithm(("md5",), ("sha1",)) is None


def test_an_installed_gate_that_allows_no_content_is_a_gap(root: Path, start_sshd: StartSshd, tmp_path: Path) -> None:
    box = start_sshd()
    force_gate(box, install_gate(tmp_path / "gate", f"root {root}\n"))

    outcome = read(here(root, box.access), root, wanted(root, *CONTENT))

    assert isinstance(outcome, Gap)
    assert outcome.kind is GapKind.REFUSED
    assert "no content" in outcome.detail


def test_a_path_that_an_installed_gate_refuses_costs_the_others_nothing(
    root: Path, start_sshd: StartSshd, tmp_path: Path
) -> None:
    box = start_sshd()
    force_gate(box, install_gate(tmp_path / "gate", f"root {root}\ncontent {root}\n"))
    files = wanted(root, *CONTENT)
    shutil.move(root / "2025", tmp_path / "elsewhere")
    (root / "2025").symlink_to(tmp_path / "elsewhere")

    found = whole(read(here(root, box.access), root, files))

    assert {one.path for one in found.hashed} == {name for name in CONTENT if not name.startswith(b"2025/")}
    assert len(found.not_hashed) == 2
    assert all("refuses" in one.why for one in found.not_hashed)


def test_a_gate_installed_before_ctimes_were_told_is_understood(
    root: Path, start_sshd: StartSshd, tmp_path: Path
) -> None:
    box = start_sshd()
    gate = install_gate(tmp_path / "gate", f"root {root}\ncontent {root}\n")
    text = gate.read_text()
    assert " / %Z %z" in text
    gate.write_text(text.replace(" / %Z %z", "").replace(" / %c %Fc", ""))
    force_gate(box, gate)

    found = whole(read(here(root, box.access), root, wanted(root, *CONTENT)))

    assert {one.path: one.digest for one in found.hashed} == {
        name: hashlib.sha256(content).digest() for name, content in CONTENT.items()
    }
    assert {one.ctime_ns for one in found.hashed} == {None}


def test_a_root_that_is_gone_or_empty_is_a_gap_and_not_so_many_files_that_are_gone(
    root: Path, start_sftp_only: StartSftpOnly, start_sshd: StartSshd
) -> None:
    files = wanted(root, *CONTENT)
    devices = (here(root), here(root, start_sftp_only().access), here(root, start_sshd().access))
    root.rename(root.parent / "away")
    gone = [read(device, root, files) for device in devices]
    root.mkdir()
    empty = [read(device, root, files) for device in devices]

    assert all(isinstance(outcome, Gap) for outcome in gone), gone
    assert all(isinstance(outcome, Gap) and outcome.kind is GapKind.NOT_MOUNTED for outcome in empty), empty


def test_a_shelf_drive_and_a_box_that_does_not_answer_are_gaps(root: Path, start_sshd: StartSshd) -> None:
    box = start_sshd()
    shelf = read(here(root, ShelfAccess()), root, wanted(root, *CONTENT))
    os.kill(box.pid, signal.SIGKILL)
    away = read(here(root, box.access), root, wanted(root, *CONTENT))

    assert isinstance(shelf, Gap)
    assert isinstance(away, Gap)
    assert (shelf.kind, away.kind) == (GapKind.SHELF, GapKind.UNREACHABLE)


def many(root: Path, count: int, size: int) -> list[Wanted]:
    for number in range(count):
        (root / f"many-{number:03d}").write_bytes(bytes([number % 256]) * size)
    return wanted(root, *(b"many-%03d" % number for number in range(count)))


def test_what_the_time_does_not_reach_is_left_and_never_lost(root: Path, box: Boxes) -> None:
    device = box(root)
    files = many(root, 40, 200_000)

    first = whole(read(device, root, files, budget=6, rate=300_000))

    assert 1 <= len(first.hashed) <= 15  # 6 s at 0.3 MB/s are 9 files of 200 kB; a busy machine needs some of them
    assert len(first.hashed) + len(first.left) == 40
    assert (first.not_hashed, first.stopped) == ((), None)
    again = whole(read(device, root, first.left))
    digests = {one.path: one.digest for one in (*first.hashed, *again.hashed)}
    assert digests == {b"many-%03d" % n: hashlib.sha256(bytes([n]) * 200_000).digest() for n in range(40)}


def test_a_rate_is_held_on_average(root: Path, box: Boxes) -> None:
    device = box(root)
    files = many(root, 30, 100_000)

    found = whole(read(device, root, files, rate=1_500_000))

    assert len(found.hashed) == 30
    assert found.seconds > 1.0  # 3 MB at 1.5 MB/s are two seconds; the last piece need not be waited for


def test_a_file_that_cannot_be_read_in_the_time_does_not_hold_up_the_others(root: Path, box: Boxes) -> None:
    device = box(root)
    files = wanted(root, b"large.wav", b"take-0001.wav", b"empty")

    found = whole(read(device, root, files, budget=3, rate=500_000))

    assert [one.path for one in found.hashed] == [b"take-0001.wav", b"empty"]
    assert [one.path for one in found.left] == [b"large.wav"]


def test_of_two_of_one_path_the_first_counts(root: Path) -> None:
    [one] = wanted(root, b"take-0001.wav")

    found = whole(read(here(root), root, [one, replace(one, size=5)]))

    assert [file.path for file in found.hashed] == [b"take-0001.wav"]
    assert (found.not_hashed, found.left) == ((), ())


def test_nothing_wanted_needs_no_device(root: Path) -> None:
    assert read(here(root, ShelfAccess()), root, []) == HashedFiles(algorithm="sha256", hashed=())


@pytest.fixture
def started(monkeypatch: pytest.MonkeyPatch) -> list[ErrandProcess]:
    """The workers that were started."""
    processes: list[ErrandProcess] = []
    begin = ErrandProcess._hand_over

    def note(self: ErrandProcess, *rest: object) -> None:
        processes.append(self)
        begin(self, *rest)  # type: ignore[arg-type]  # handed on as it came

    monkeypatch.setattr(errand_process.ErrandProcess, "_hand_over", note)
    return processes


def test_a_worker_that_is_killed_keeps_what_it_had_said(root: Path, started: list[ErrandProcess]) -> None:
    files = many(root, 60, 100_000)

    def kill() -> None:
        wait_for(lambda: bool(started))
        time.sleep(2.5)  # of the six seconds that the rate gives it
        os.kill(started[0].pid, signal.SIGKILL)

    killing = threading.Thread(target=kill)
    killing.start()
    found = whole(read(here(root), root, files, rate=1_000_000))
    killing.join()

    assert 1 <= len(found.hashed) < 60
    assert len(found.hashed) + len(found.left) == 60
    assert found.stopped is not None
    assert found.stopped.kind is GapKind.CUT
    for one in found.hashed:
        assert one.digest == hashlib.sha256((root / os.fsdecode(one.path)).read_bytes()).digest()


def test_a_connection_that_ends_in_the_middle_keeps_what_was_said(root: Path, start_sshd: StartSshd) -> None:
    box = start_sshd()
    files = many(root, 60, 100_000)

    def cut() -> None:
        time.sleep(3)
        for number in descendants(box.pid):
            os.kill(number, signal.SIGKILL)

    cutting = threading.Thread(target=cut)
    cutting.start()
    found = whole(read(here(root, box.access), root, files, rate=300_000))
    cutting.join()

    assert 1 <= len(found.hashed) < 60
    assert len(found.hashed) + len(found.left) == 60
    assert found.stopped is not None


def test_a_folder_that_has_become_a_link_leads_to_no_content(root: Path, start_sshd: StartSshd) -> None:
    """A copy's folder that was replaced by a link to the original would show the original's own content as its own."""
    files = wanted(root, *CONTENT)
    shutil.copytree(root, root.parent / "original", copy_function=shutil.copy2)
    shutil.rmtree(root / "2025")
    (root / "2025").symlink_to(root.parent / "original" / "2025")

    for device in (here(root), here(root, start_sshd().access)):
        found = whole(read(device, root, files))
        assert {one.path for one in found.hashed} == {name for name in CONTENT if not name.startswith(b"2025/")}
        assert len(found.not_hashed) == 2


class Meddling(Pace):
    """A pace at which something is written into a file while it is read, and its times put back."""

    def __init__(self, file: Path) -> None:
        super().__init__(until=time.monotonic() + 30)
        self._file = file

    def took(self, size: int) -> None:
        before = self._file.stat()
        with self._file.open("r+b") as opened:
            opened.seek(1000)
            opened.write(b"?")
        os.utime(self._file, ns=(before.st_atime_ns, before.st_mtime_ns))
        super().took(size)


def test_what_is_written_here_while_it_is_read_has_no_digest_though_its_times_are_put_back(root: Path) -> None:
    told: list[HashedFile | NotHashed] = []

    hash_here("sha256", str(root), wanted(root, b"large.wav"), Meddling(root / "large.wav"), told.append)

    assert told == [NotHashed(path=b"large.wav", why="it changed while it was read")]


def test_what_is_written_on_a_box_while_it_is_read_has_no_digest_though_its_times_are_put_back(
    root: Path, start_sshd: StartSshd
) -> None:
    meddling = root.parent / "meddling"
    meddling.mkdir()
    file, times = root / "large.wav", root.parent / "times"
    shutil.copy2(file, times)
    written = f"printf '?' | dd of='{file}' bs=1 seek=1000 conv=notrunc 2>/dev/null; touch -r '{times}' '{file}'"
    (meddling / "sha256sum").write_text(f"#!/bin/sh\n/usr/bin/sha256sum\n{written}\n")
    (meddling / "sha256sum").chmod(0o755)
    device = here(root, start_sshd(f"SetEnv PATH={meddling}:/usr/bin:/bin").access)

    found = whole(read(device, root, wanted(root, b"take-0001.wav", b"large.wav")))

    assert [one.path for one in found.hashed] == [b"take-0001.wav"]
    assert found.not_hashed == (NotHashed(path=b"large.wav", why="it changed while it was read"),)


def test_many_files_here_are_read_by_two_workers_and_every_one_once(
    root: Path, monkeypatch: pytest.MonkeyPatch, started: list[ErrandProcess]
) -> None:
    monkeypatch.setattr("coverage_audit.collectors.hash_files._MANY", 10)
    files = many(root, 45, 1000)
    (root / "many-044").unlink()

    found = whole(read(here(root), root, files))

    assert len(started) == 2
    assert [one.path for one in found.hashed] == [b"many-%03d" % number for number in range(44)]
    assert [one.path for one in found.not_hashed] == [b"many-044"]
    assert found.bytes == 44_000
    assert found.left == ()

"""Content read with real boxes by every way, on a real disk that forgets, and by a process that is killed."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import time
from datetime import timedelta
from pathlib import Path

import pytest

from coverage_audit.audits.verifying import Wish
from coverage_audit.estate.model import Proof
from coverage_audit.evidence.verified import Harm
from coverage_audit.judgement.verdict import Answer, Standing
from tests.builders.trees import flip
from tests.parts.content import COPY, NAME, ORIGINAL, VERIFY, a_station, content_of, night, verified_of
from tests.parts.gates import force_gate, install_gate
from tests.parts.loops import LoopVolume, MakeVolume
from tests.parts.sftp_only import StartSftpOnly
from tests.parts.sshd import Box, StartSshd
from tests.parts.station import Station, copy_of, dataset_of
from tests.parts.two_boxes import reached

A_DAY = timedelta(days=1)
ALL = Wish(now=True, all=True)
NAMES = ("-rf", "a b/$(touch hole) `id`", "line\nfeed", "\udcff no utf-8", "…/⁂", "x" * 255, "'; DROP TABLE")
SPOILT = "line\nfeed"


def hostile(station: Station, box: Box) -> Station:
    """A station whose copy is reached over a box, with names that would harm a shell."""
    a_station(station, files=30, access=reached(box))
    for number, name in enumerate(NAMES):
        station.write(f"{ORIGINAL}/{name}", bytes([number]) * 100)
    station.mirror(ORIGINAL, COPY)
    return station


@pytest.fixture(params=["ssh", "sftp only", "installed gate"])
def box(
    request: pytest.FixtureRequest,
    station: Station,
    tmp_path: Path,
    start_sshd: StartSshd,
    start_sftp_only: StartSftpOnly,
) -> Box:
    """The copy's box, reached in each of the ways that there are."""
    if request.param == "sftp only":
        return start_sftp_only()
    box = start_sshd()
    if request.param == "installed gate":
        place = station.root / "heron"
        force_gate(box, install_gate(tmp_path / "gate", f"root {place}\ncontent {place}\n"))
    return box


def test_content_is_read_over_every_way_whatever_files_are_called(station: Station, box: Box) -> None:
    hostile(station, box)
    audited = night(station, ALL)

    whole = verified_of(audited).whole
    assert whole is not None
    assert (whole.same.files, whole.not_shown, whole.left.files) == (30 + len(NAMES), 0, 0)
    assert copy_of(audited, NAME).proof is Proof.SAMPLED
    flip(station.root / COPY / SPOILT)
    station.pass_time(A_DAY)
    (spoilt,) = verified_of(night(station, ALL)).spoilt
    assert spoilt.path == SPOILT.encode()
    assert not (station.root / COPY / "hole").exists()


def test_a_gate_that_lets_no_content_be_read_shows_none_and_says_so(
    station: Station, tmp_path: Path, start_sshd: StartSshd
) -> None:
    box = start_sshd()
    force_gate(box, install_gate(tmp_path / "gate", f"root {station.root / 'heron'}\n"))
    audited = night(hostile(station, box))

    assert copy_of(audited, NAME).proof is Proof.LISTED
    finding = content_of(audited)
    assert finding.answer is Answer.UNVERIFIED
    assert "refused" in finding.message


@pytest.mark.root
def test_a_disk_that_forgets_one_bit_is_told_from_a_program_that_writes(
    station: Station, make_volume: MakeVolume
) -> None:
    """The bit is flipped below the filesystem: size, mtime and ctime stay what they were."""
    disk = make_volume(station.root / "heron")
    a_station(station, files=50)
    night(station, ALL)
    files = {name: station.root / COPY / "00" / f"{number:05d}.flac" for number, name in enumerate(("rots", "written"))}
    before = files["rots"].stat()
    _flip_and_forget(disk, files["rots"])
    after = files["rots"].stat()
    assert before.st_size == after.st_size
    assert (before.st_mtime_ns, before.st_ctime_ns) == (after.st_mtime_ns, after.st_ctime_ns)
    flip(files["written"])
    station.pass_time(A_DAY)
    audited = night(station, ALL)

    harms = {one.path.decode(): one.harm for one in verified_of(audited).spoilt}
    assert harms == {"00/00000.flac": Harm.DECAYED, "00/00001.flac": Harm.REWRITTEN}
    assert "decayed: another content at the same size and times" in content_of(audited).message


@pytest.mark.root
def test_an_original_on_a_disk_that_forgets_is_named_with_the_copy_that_still_has_it(
    station: Station, make_volume: MakeVolume
) -> None:
    disk = make_volume(station.root / "kestrel")
    a_station(station, files=50)
    night(station, ALL)
    _flip_and_forget(disk, station.root / ORIGINAL / "00" / "00007.flac")
    station.pass_time(A_DAY)
    audited = night(station, ALL)

    finding = content_of(audited, "kestrel")
    assert finding.answer is Answer.NONCONFORMITY
    assert "“00/00007.flac” decayed" in finding.message
    assert "still at heron:pool/recordings" in finding.message
    assert dataset_of(audited, NAME).original.standing is Standing.DAMAGED
    assert copy_of(audited, NAME).standing is Standing.PROVEN


def _flip_and_forget(disk: LoopVolume, file: Path) -> None:
    """Flip one bit of a file on its disk, and forget what memory holds of it."""
    on_the_disk = disk.flip(file)
    descriptor = os.open(file, os.O_RDONLY)
    os.posix_fadvise(descriptor, 0, 0, os.POSIX_FADV_DONTNEED)
    os.close(descriptor)
    assert file.read_bytes() == on_the_disk


def test_a_reading_that_is_killed_goes_on_with_what_it_had_not_kept(station: Station) -> None:
    slow = "{content_rate: 1 MB/s, content_time: 1min}"
    a_station(station, files=40, size=200_000, policy=VERIFY, limits=slow)
    words = [sys.executable, "-m", "coverage_audit", "verify", "--all"]
    started = subprocess.Popen([*words, "--estate", str(station.estate_file), "--state", str(station.state)])
    until = time.monotonic() + 60
    while not list((station.state / "digests").glob("*")) and time.monotonic() < until:
        time.sleep(0.05)  # until the original's are kept, and the copy's are being read
    started.send_signal(signal.SIGKILL)
    started.wait()
    done = station.command("verify", "--all", "--json")

    assert done.status == 0, done.err
    (copy,) = done.object["datasets"][0]["copies"]
    assert copy["content"]["whole"]["same"]["files"] == 40
    assert copy["content"]["spoilt"] == 0

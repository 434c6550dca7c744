"""Drills that cannot show what they are to show, and what would let one say "restored" although it is not."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path

import pytest

from coverage_audit.evidence.content import HashedFile
from coverage_audit.evidence.drilling import DrillOutcome
from coverage_audit.wiring import assembled
from tests.builders.drilled_station import PIECE, assert_nothing_is_left, declare, drilled, fill, recorded
from tests.builders.trees import flip
from tests.parts.gates import force_gate, install_gate
from tests.parts.slow_line import StartSlowLine
from tests.parts.sshd import Box, StartSshd
from tests.parts.station import Station
from tests.parts.tampering import StartTampering
from tests.parts.two_boxes import reached
from tests.parts.waiting import wait_for

ORIGINAL, COPY = "kestrel/recordings", "heron/recordings"


def test_what_changed_meanwhile_is_not_counted_and_said(station: Station) -> None:
    """The original is written to after the audit: what the copy holds of it shows nothing of either."""
    fill(station)
    for number in range(3):
        (station.root / ORIGINAL / f"long-{number}.wav").write_bytes(b"another take")
    ran = drilled(station, "--files", "100", "--json")
    assert (ran.status, ran.object["outcome"]) == (0, "restored")
    assert (ran.object["restored"]["files"], ran.object["changed_meanwhile"]) == (7, 3)

    for file in (station.root / ORIGINAL).rglob("*"):
        if file.is_file():
            os.utime(file)
    ran = drilled(station, "--files", "100", "--json")
    assert (ran.status, ran.object["outcome"]) == (69, "incomplete")
    assert (ran.object["restored"]["files"], ran.object["changed_meanwhile"]) == (0, 10)


def test_a_file_of_the_copy_that_was_replaced_since_its_listing_shows_nothing(station: Station) -> None:
    """Even a right one: a link to the original's own file, and the file written anew."""
    fill(station)
    copy = station.root / COPY
    (copy / "long-0.wav").unlink()
    (copy / "long-0.wav").symlink_to(station.root / ORIGINAL / "long-0.wav")
    (copy / "a b").rename(copy / "elsewhere")
    (copy / "a b").symlink_to(station.root / ORIGINAL / "a b")
    os.utime(copy / "long-1.wav")
    ran = drilled(station, "--files", "100", "--json")
    told = {one["path"]: one["fate"] for one in ran.object["incidents"]}
    assert {told["long-0.wav"], told["long-1.wav"], told["a b/$(touch hole) `id`"]} == {"changed meanwhile"}
    assert ran.object["restored"]["files"] == 7


def test_what_cannot_be_read_back_is_said_and_nothing_is_shown(station: Station) -> None:
    fill(station)
    (station.root / COPY / "plain.wav").unlink()
    ran = drilled(station, "--files", "100")
    assert ran.status == 69, ran
    assert "1 file could not be read back" in ran.out
    assert "plain.wav: unread (No such file or directory)" in ran.out
    assert recorded(station)[0].outcome is DrillOutcome.INCOMPLETE


def test_files_that_are_empty_show_nothing(station: Station) -> None:
    for number in range(3):
        station.write(f"{ORIGINAL}/empty-{number}", b"")
    station.mirror(ORIGINAL, COPY)
    declare(station)
    station.night()
    ran = drilled(station, "--json")
    assert (ran.status, ran.object["outcome"]) == (69, "incomplete")
    assert ran.object["restored"] == {"files": 3, "bytes": 0}


def test_a_copy_that_holds_nothing_or_was_never_audited_is_no_copy_to_drill(station: Station) -> None:
    station.write(f"{ORIGINAL}/take.wav", b"a take")
    (station.root / COPY).mkdir(parents=True)
    declare(station)
    never = drilled(station)
    assert (never.status, "was not compared with its original yet" in never.err) == (69, True)
    station.night()
    empty = drilled(station)
    assert (empty.status, "was not found to hold any file" in empty.err) == (69, True)
    assert recorded(station) == ()


def test_without_the_original_only_stored_digests_show_anything(station: Station) -> None:
    fill(station)
    away = station.root / ORIGINAL
    files = {os.fsencode(file.relative_to(away)): file for file in away.glob("long-*.wav")}
    stored = [_hashed(path, file) for path, file in files.items()]
    away.rename(station.root / "away")
    ran = drilled(station, "--files", "100", "--json")
    assert (ran.status, ran.object["nothing_to_hold_against"]) == (69, 10), ran

    with assembled(station.estate, station.state) as parts:
        parts.ledger.digests.add(station.estate.datasets[0].original, "sha512", stored, station.now())
    words = [word for path in files for word in ("--path", os.fsdecode(path))]
    ran = drilled(station, *words, "--json")
    assert (ran.status, ran.object["restored"]["files"], ran.object["held_against_originals"]) == (0, 3, 0), ran

    flip(station.root / COPY / "long-2.wav")
    ran = drilled(station, *words, "--json")
    assert (ran.status, ran.object["damaged"]["files"]) == (1, 1)
    assert [one["path"] for one in ran.object["incidents"]] == ["long-2.wav"]


def test_where_the_original_decayed_the_copy_is_right_and_that_is_said(station: Station) -> None:
    fill(station)
    stored = [_hashed(b"long-0.wav", station.root / ORIGINAL / "long-0.wav")]
    with assembled(station.estate, station.state) as parts:
        parts.ledger.digests.add(station.estate.datasets[0].original, "sha512", stored, station.now())
    flip(station.root / ORIGINAL / "long-0.wav")
    seen = (station.root / ORIGINAL / "long-0.wav").stat()
    assert seen.st_mtime_ns == stored[0].mtime_ns
    ran = drilled(station, "--path", "long-0.wav", "--json")
    assert (ran.status, ran.object["outcome"]) == (1, "restored")
    assert [one["fate"] for one in ran.object["incidents"]] == ["original decayed"]


def _hashed(path: bytes, file: Path) -> HashedFile:
    """The digest of a file, made by the reference tool."""
    digest = subprocess.check_output(["sha512sum", "--", file]).split()[0].lstrip(b"\\")
    seen = file.stat()
    return HashedFile(
        path=path,
        size=seen.st_size,
        mtime_ns=seen.st_mtime_ns,
        ctime_ns=None,
        digest=bytes.fromhex(digest.decode()),
    )


def test_a_box_that_is_off_and_a_gate_that_sends_nothing_are_said(station: Station, start_sshd: StartSshd) -> None:
    box = start_sshd()
    fill(station, reached(box))
    heron = station.root / "heron"
    force_gate(box, install_gate(station.root / "lib", f"root {heron}\ncontent {heron}\n"))
    refused = drilled(station)
    assert (refused.status, "allows no content to be sent" in refused.err) == (69, True), refused
    declare(station, reached(box, 1))
    off = drilled(station)
    assert off.status == 69, off
    assert recorded(station) == ()


def test_a_connection_that_is_cut_in_the_middle_shows_nothing(
    station: Station, box: Box, tampered_line: StartTampering
) -> None:
    fill(station, reached(box))
    declare(station, reached(box, tampered_line(box.port, cut_after=PIECE * 2)))
    ran = drilled(station, "--files", "100", "--json")
    assert (ran.status, ran.object["outcome"]) == (69, "incomplete"), ran
    assert ran.object["damaged"]["files"] == 0
    assert ran.object["unread"] > 0
    assert_nothing_is_left(station)


@pytest.mark.root
@pytest.mark.parametrize("where", ["local", "ssh"])
def test_a_scratch_disk_that_is_full_is_said_and_says_nothing_of_the_copy(
    station: Station, small_disk: Path, request: pytest.FixtureRequest, where: str
) -> None:
    fill(station, "local" if where == "local" else reached(request.getfixturevalue("box")))
    ran = drilled(station, "--path", "long-0.wav", "--scratch", str(small_disk))
    assert ran.status == 69, ran
    assert f"the scratch folder {small_disk}: No space left on device" in ran.err
    assert recorded(station) == ()
    assert_nothing_is_left(station, small_disk)
    assert drilled(station, "--path", "plain.wav", "--scratch", str(small_disk)).status == 0, "it fits"


@pytest.fixture
def small_disk(tmp_path: Path) -> Iterator[Path]:
    """A disk of one megabyte."""
    folder = tmp_path / "small"
    folder.mkdir()
    subprocess.run(["mount", "-t", "tmpfs", "-o", "size=1m", "tmpfs", folder], check=True)
    yield folder
    subprocess.run(["umount", folder], check=True)


@pytest.mark.parametrize("end", [signal.SIGINT, signal.SIGTERM, signal.SIGKILL])
def test_a_drill_that_is_interrupted_leaves_nothing_behind(
    station: Station, box: Box, slow_line: StartSlowLine, tmp_path: Path, end: signal.Signals
) -> None:
    """In the middle of a long file, over a link that would take a minute for it."""
    fill(station, reached(box), longs=1)
    declare(station, reached(box, slow_line(box.port, PIECE // 60)))
    scratch = tmp_path / "scratch"
    scratch.mkdir()
    words = ["--estate", str(station.estate_file), "--state", str(station.state), "--scratch", str(scratch)]
    process = subprocess.Popen(
        [sys.executable, "-m", "coverage_audit", "drill", "field-recordings", *words, "--path", "long-0.wav"],
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
    )
    assert wait_for(lambda: _written(scratch) > 0, 60), "it is being read"
    process.send_signal(end)
    process.wait(30)
    assert wait_for(lambda: _written(scratch) == 0, 30), "its worker ends with it"
    assert list(scratch.iterdir()) == []
    assert recorded(station) == ()
    declare(station, reached(box))
    assert drilled(station, "--path", "long-0.wav", "--scratch", str(scratch)).status == 0
    assert_nothing_is_left(station, scratch)


def _written(folder: Path) -> int:
    """How many files without a name any process holds open in a folder, with something in them."""
    count = 0
    for link in Path("/proc").glob("[0-9]*/fd/*"):
        try:
            if str(link.readlink()).startswith(f"{folder}/") and link.stat().st_size > 0:
                count += 1
        except OSError:
            continue
    time.sleep(0.05)
    return count

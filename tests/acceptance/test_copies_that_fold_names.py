"""Copies on filesystems that fold names, and what such a copy cannot hold: real trees, made by hand.

This kernel has neither FAT nor ext4's case folding to mount, so the trees are laid out as those leave them: every name
in capitals, times in steps of two seconds, of two names that fold into one only the later written.
"""

from __future__ import annotations

import os
import shutil
from datetime import timedelta
from pathlib import Path

import pytest

from coverage_audit.judgement.verdict import JudgedCopy, Standing
from tests.acceptance.test_a_mirror_that_stopped import ESTATE
from tests.parts.station import Station, copy_of


@pytest.fixture
def recorded(station: Station) -> Station:
    station.declare(ESTATE)
    for number in range(40):
        station.write(
            f"kestrel/recordings/Take-{number}.wav",
            os.urandom(50 + number),
            age=timedelta(days=3, seconds=number * 977.7),
        )
    return station


def folding(station: Station) -> Path:
    """Lay the copy out as a filesystem leaves it that folds names and keeps times in steps of two seconds."""
    there = station.root / "heron/recordings"
    shutil.rmtree(there, ignore_errors=True)
    there.mkdir(parents=True)
    for file in sorted((station.root / "kestrel/recordings").iterdir()):
        copied = there / file.name.upper()
        shutil.copyfile(file, copied)
        seconds = int(file.stat().st_mtime) // 2 * 2
        os.utime(copied, (seconds, seconds))
    return there


def night(station: Station) -> JudgedCopy:
    return copy_of(station.night(), "field-recordings")


def test_a_copy_that_folds_every_name_in_two_second_steps_is_proven_and_says_so(recorded: Station) -> None:
    folding(recorded)

    copy = night(recorded)

    assert copy.standing is Standing.PROVEN, copy.reason
    assert any("40 files are held under another spelling" in said for said in copy.remarks)


def test_the_file_whose_name_collided_is_named_and_no_other_is_called_changed(recorded: Station) -> None:
    recorded.write("kestrel/recordings/take-7.wav", b"the other seven", age=timedelta(days=9))
    folding(recorded)  # take-7.wav comes after Take-7.wav and is what stays

    night(recorded)  # it may still be taken up
    recorded.pass_time(timedelta(days=3))
    copy = night(recorded)

    assert copy.standing is not Standing.PROVEN
    assert copy.comparison is not None
    assert (copy.comparison.missing.files, copy.comparison.changed.files) == (1, 0)
    assert [sample.path for sample in copy.comparison.samples] == [b"Take-7.wav"]
    assert any("“Take-7.wav” collides with “TAKE-7.WAV” in the copy" in said for said in copy.remarks)


def test_a_file_that_is_a_hole_in_the_copy_is_not_taken_for_a_whole_one(recorded: Station) -> None:
    recorded.write("kestrel/recordings/long.wav", os.urandom(1 << 20), age=timedelta(days=4))
    shutil.copytree(recorded.root / "kestrel/recordings", recorded.root / "heron/recordings")
    began = recorded.root / "heron/recordings/long.wav"
    time = began.stat().st_mtime_ns
    began.unlink()
    with began.open("wb") as file:
        file.truncate(1 << 20)
    os.utime(began, ns=(time, time))
    assert began.stat().st_blocks == 0

    copy = night(recorded)

    assert copy.standing is Standing.UNVERIFIED
    assert "take up far less than their size there" in copy.reason
    assert "long.wav" in copy.reason


def test_hard_links_that_became_two_files_are_said_and_nothing_is_missing(recorded: Station) -> None:
    os.link(recorded.root / "kestrel/recordings/Take-1.wav", recorded.root / "kestrel/recordings/Take-1-again.wav")
    shutil.copytree(recorded.root / "kestrel/recordings", recorded.root / "heron/recordings")

    copy = night(recorded)

    assert copy.standing is Standing.PROVEN, copy.reason
    assert any("hard links are not kept" in said for said in copy.remarks)


def test_a_link_that_leads_outside_all_that_is_declared_is_said(recorded: Station) -> None:
    (recorded.root / "kestrel/recordings/latest").symlink_to("Take-1.wav")
    (recorded.root / "kestrel/recordings/away").symlink_to("/nowhere/declared")
    shutil.copytree(recorded.root / "kestrel/recordings", recorded.root / "heron/recordings", symlinks=True)

    copy = night(recorded)

    assert copy.standing is Standing.PROVEN, copy.reason
    said = "1 links lead outside all that is declared, or nowhere, e.g. “away” to “/nowhere/declared”"
    assert said in copy.remarks

"""Copies that keep times badly or not at all, and copies that changed on their own."""

from __future__ import annotations

import os
import shutil
from datetime import timedelta

import pytest

from coverage_audit.audits.introduction import accept, meet
from coverage_audit.judgement.verdict import Conclusion, Standing
from coverage_audit.wiring import assembled
from tests.acceptance.test_a_mirror_that_stopped import ESTATE
from tests.parts.station import Station, copy_of


@pytest.fixture
def recorded(station: Station) -> Station:
    station.declare(ESTATE)
    for number in range(40):
        station.write(
            f"kestrel/recordings/take-{number}.wav",
            os.urandom(50 + number),
            age=timedelta(days=3, seconds=number * 977.7),
        )
    return station


def test_a_copy_that_keeps_no_times_is_proven_by_size_and_says_so(recorded: Station) -> None:
    (recorded.root / "heron").mkdir()
    shutil.copytree(
        recorded.root / "kestrel/recordings", recorded.root / "heron/recordings", copy_function=shutil.copyfile
    )

    copy = copy_of(recorded.night(), "field-recordings")

    assert copy.standing is Standing.PROVEN
    assert copy.by_size


def test_a_copy_without_times_written_before_the_original_changed_does_not_hold_it(recorded: Station) -> None:
    (recorded.root / "heron").mkdir()
    shutil.copytree(
        recorded.root / "kestrel/recordings", recorded.root / "heron/recordings", copy_function=shutil.copyfile
    )
    recorded.night()
    recorded.pass_time(timedelta(hours=20))
    changed = recorded.root / "kestrel/recordings/take-7.wav"
    recorded.write("kestrel/recordings/take-7.wav", os.urandom(changed.stat().st_size), age=timedelta(hours=1))
    recorded.night()
    recorded.pass_time(timedelta(days=2))

    copy = copy_of(recorded.night(), "field-recordings")

    assert copy.standing is not Standing.PROVEN
    assert copy.comparison is not None
    assert copy.comparison.changed.files == 1


def test_a_copy_that_kept_times_and_was_rewritten_in_one_night_is_not_taken_for_one_that_keeps_none(
    recorded: Station,
) -> None:
    recorded.mirror("kestrel/recordings", "heron/recordings")
    assert copy_of(recorded.night(), "field-recordings").standing is Standing.PROVEN
    recorded.pass_time(timedelta(days=1))
    for file in (recorded.root / "heron/recordings").iterdir():
        file.write_bytes(os.urandom(file.stat().st_size))  # what encryption in place leaves: the same size, a new time

    rewritten = copy_of(recorded.night(), "field-recordings")
    recorded.pass_time(timedelta(days=1))
    a_night_later = copy_of(recorded.night(), "field-recordings")

    for copy in (rewritten, a_night_later):
        assert not copy.by_size
        assert copy.standing is Standing.DAMAGED
        assert any("preflight --accept heron:pool" in remark for remark in copy.remarks)


def test_that_only_the_way_of_copying_changed_is_accepted_in_one_step(recorded: Station) -> None:
    recorded.mirror("kestrel/recordings", "heron/recordings")
    recorded.night()
    recorded.pass_time(timedelta(days=1))
    for file in (recorded.root / "heron/recordings").iterdir():
        file.write_bytes(file.read_bytes())
    assert copy_of(recorded.night(), "field-recordings").standing is not Standing.PROVEN
    with assembled(recorded.estate, recorded.state, clock=recorded.now) as parts:
        accept(recorded.estate, meet(recorded.estate, parts), "heron:pool", parts, who="the warden")
    recorded.pass_time(timedelta(hours=1))

    copy = copy_of(recorded.night(), "field-recordings")

    assert copy.standing is Standing.PROVEN
    assert copy.by_size


def test_a_copy_with_two_second_times_is_proven(recorded: Station) -> None:
    # What a FAT filesystem keeps (two-second steps: from memory); this kernel has none to mount.
    recorded.mirror("kestrel/recordings", "heron/recordings")
    for file in (recorded.root / "heron/recordings").iterdir():
        moment = file.stat().st_mtime_ns // (2 * 10**9) * 2 * 10**9
        os.utime(file, ns=(moment, moment))

    audited = recorded.night()

    copy = copy_of(audited, "field-recordings")
    assert copy.standing is Standing.PROVEN
    assert copy.comparison is not None
    assert copy.comparison.mode.granularity_ns == 2_000_000_000
    assert audited.judged.conclusion is Conclusion.CONFORMING


def test_a_whole_hour_of_zone_error_is_compared_with_the_shift_and_said(recorded: Station) -> None:
    recorded.mirror("kestrel/recordings", "heron/recordings")
    for file in (recorded.root / "heron/recordings").iterdir():
        moment = file.stat().st_mtime_ns + 3600 * 10**9
        os.utime(file, ns=(moment, moment))

    copy = copy_of(recorded.night(), "field-recordings")

    assert copy.standing is Standing.PROVEN
    assert copy.comparison is not None
    assert abs(copy.comparison.mode.shift) == timedelta(hours=1)
    assert any("later throughout: a zone error" in remark for remark in copy.remarks)


def test_a_copy_that_was_changed_on_its_own_is_damaged(recorded: Station) -> None:
    recorded.mirror("kestrel/recordings", "heron/recordings")
    assert recorded.night().judged.conclusion is Conclusion.CONFORMING
    recorded.pass_time(timedelta(hours=1))
    altered = recorded.root / "heron/recordings/take-7.wav"
    altered.write_bytes(os.urandom(altered.stat().st_size))
    recorded.stamp("heron/recordings/take-7.wav", timedelta(minutes=5))

    copy = copy_of(recorded.night(), "field-recordings")

    assert copy.standing is Standing.DAMAGED
    assert "take-7.wav" in copy.reason


def test_a_file_newer_in_the_copy_at_a_first_audit_is_unverified_until_hashed(recorded: Station) -> None:
    recorded.mirror("kestrel/recordings", "heron/recordings")
    recorded.stamp("heron/recordings/take-7.wav", timedelta(minutes=5))

    copy = copy_of(recorded.night(), "field-recordings")

    assert copy.standing is Standing.UNVERIFIED


def test_a_folder_renamed_in_the_original_is_pending_and_held_under_its_old_name(recorded: Station) -> None:
    recorded.write("kestrel/recordings/nightjars/a.wav", os.urandom(999), age=timedelta(days=200))
    recorded.mirror("kestrel/recordings", "heron/recordings")
    recorded.night()
    recorded.pass_time(timedelta(hours=20))
    (recorded.root / "kestrel/recordings/nightjars").rename(recorded.root / "kestrel/recordings/caprimulgus")

    copy = copy_of(recorded.night(), "field-recordings")

    assert copy.standing is Standing.PROVEN
    assert copy.comparison is not None
    assert copy.comparison.under_old_name.files == 1
    assert any("old name" in remark for remark in copy.remarks)


def test_a_time_that_no_file_can_bear_says_nothing_so_the_content_is_unverified_from_the_first_night_on(
    recorded: Station,
) -> None:
    recorded.mirror("kestrel/recordings", "heron/recordings")
    wrapped = (2**32 - 86_400) * 10**9  # a day before 1970 as an unsigned 32-bit number of seconds
    os.utime(recorded.root / "heron/recordings/take-7.wav", ns=(wrapped, wrapped))

    audited = recorded.night()

    assert copy_of(audited, "field-recordings").standing is Standing.UNVERIFIED
    assert audited.judged.conclusion is Conclusion.UNVERIFIED

"""Ways in which times say "covered" while it is not: what was touched, stamped, shifted or wrapped is no proof."""

from __future__ import annotations

import os
from datetime import timedelta

import pytest

from coverage_audit.evidence.difference import RowClass
from coverage_audit.judgement.verdict import Answer, Conclusion, JudgedCopy, Standing
from tests.acceptance.test_a_mirror_that_stopped import ESTATE
from tests.acceptance.test_boxes_that_fail import declare
from tests.parts.sshd import StartSshd
from tests.parts.station import Station, copy_of, failing_rules

DAY = timedelta(days=1)
HOUR_NS = 3600 * 10**9
WRAP_NS = 2**32 * 10**9  # SFTP version 3 keeps times as unsigned 32-bit seconds (draft-ietf-secsh-filexfer-02, 5)


@pytest.fixture
def recorded(station: Station) -> Station:
    station.declare(ESTATE)
    for number in range(40):
        age = timedelta(days=30, seconds=number * 977.7)
        station.write(f"kestrel/recordings/take-{number}.wav", os.urandom(50 + number), age=age)
    station.mirror("kestrel/recordings", "heron/recordings")
    return station


def after_the_first_grace(station: Station) -> JudgedCopy:
    """The copy at an audit three days after the first: what a first audit met has two days to be taken up."""
    station.night()
    station.pass_time(3 * DAY)
    return copy_of(station.night(), "field-recordings")


def set_mtime(station: Station, place: str, mtime_ns: int) -> None:
    os.utime(station.root / place, ns=(mtime_ns, mtime_ns))


def test_an_old_version_that_was_touched_is_not_the_new_one(recorded: Station) -> None:
    recorded.night()
    recorded.pass_time(timedelta(days=3))
    recorded.write("kestrel/recordings/take-7.wav", os.urandom(9_000), age=timedelta(days=2))
    recorded.night()
    recorded.stamp("heron/recordings/take-7.wav", timedelta(minutes=1))

    copy = copy_of(recorded.night(), "field-recordings")

    assert copy.standing is not Standing.PROVEN
    assert copy.comparison is not None
    assert copy.comparison.changed.files == 1


def test_an_old_version_of_the_same_size_that_was_touched_is_not_the_new_one(recorded: Station) -> None:
    recorded.night()
    recorded.pass_time(timedelta(days=3))
    recorded.write("kestrel/recordings/take-7.wav", os.urandom(57), age=timedelta(days=2))
    recorded.night()
    recorded.stamp("heron/recordings/take-7.wav", timedelta(minutes=1))

    assert copy_of(recorded.night(), "field-recordings").standing is Standing.DAMAGED


def test_old_times_that_were_kept_make_no_copy_old(recorded: Station) -> None:
    audited = recorded.night()

    copy = copy_of(audited, "field-recordings")
    assert copy.standing is Standing.PROVEN
    assert copy.recovery_point is not None
    assert audited.judged.finished - copy.recovery_point < timedelta(hours=1)


def test_a_job_that_touches_a_stamp_each_night_and_copies_nothing_is_as_old_as_what_it_lacks(
    recorded: Station,
) -> None:
    for night in range(4):
        recorded.write("heron/recordings/last-run", f"all well, night {night}", age=timedelta(minutes=5))
        recorded.night()
        recorded.write(f"kestrel/recordings/new-{night}.wav", bytes(300 + night), age=timedelta(hours=1))
        recorded.pass_time(DAY)
    recorded.write("heron/recordings/last-run", "all well", age=timedelta(minutes=5))

    audited = recorded.night()

    copy = copy_of(audited, "field-recordings")

    assert copy.standing is Standing.STALE
    assert copy.comparison is not None
    assert copy.comparison.extra.files == 1
    assert audited.judged.conclusion is Conclusion.NONCONFORMING


@pytest.mark.parametrize("hours", [-1, 1])
def test_an_hour_is_forgiven_where_it_is_a_zone_and_never_where_it_is_a_change(recorded: Station, hours: int) -> None:
    older = recorded.root / "kestrel/recordings/take-7.wav"
    set_mtime(recorded, "heron/recordings/take-7.wav", older.stat().st_mtime_ns + hours * HOUR_NS)

    copy = after_the_first_grace(recorded)

    assert copy.standing is not Standing.PROVEN
    assert copy.comparison is not None
    assert copy.comparison.mode.shift == timedelta(0)
    assert copy.comparison.changed.files == 1


def test_two_second_steps_forgive_no_more_than_their_step(recorded: Station) -> None:
    for file in (recorded.root / "heron/recordings").iterdir():
        set_mtime(recorded, f"heron/recordings/{file.name}", file.stat().st_mtime_ns // (2 * 10**9) * 2 * 10**9)
    older = recorded.root / "heron/recordings/take-7.wav"
    set_mtime(recorded, "heron/recordings/take-7.wav", older.stat().st_mtime_ns - 4 * 10**9)

    copy = after_the_first_grace(recorded)

    assert copy.comparison is not None
    assert copy.comparison.mode.granularity_ns == 2 * 10**9
    assert copy.comparison.changed.files == 1
    assert copy.standing is not Standing.PROVEN


def test_a_time_before_1970_that_wrapped_on_its_way_is_not_newer(recorded: Station) -> None:
    set_mtime(recorded, "kestrel/recordings/take-7.wav", -86_400 * 10**9)
    set_mtime(recorded, "heron/recordings/take-7.wav", WRAP_NS - 86_400 * 10**9)  # 4294880896: the year 2106

    copy = after_the_first_grace(recorded)

    assert copy.standing is not Standing.PROVEN
    assert copy.comparison is not None
    assert copy.comparison.same.files == 39
    assert [row.row_class for row in copy.comparison.samples] == [RowClass.OTHER]


@pytest.mark.parametrize("mtime_ns", [WRAP_NS - 86_400 * 10**9, -86_400 * 10**9])
def test_an_old_version_whose_time_wrapped_does_not_pass_for_the_new_one(recorded: Station, mtime_ns: int) -> None:
    recorded.night()
    recorded.pass_time(timedelta(days=3))
    recorded.write("kestrel/recordings/take-7.wav", os.urandom(9_000), age=timedelta(days=2))
    recorded.night()
    set_mtime(recorded, "heron/recordings/take-7.wav", mtime_ns)

    copy = copy_of(recorded.night(), "field-recordings")

    assert copy.standing is not Standing.PROVEN
    assert copy.comparison is not None
    assert copy.comparison.changed.files == 1


def test_a_copy_of_which_all_times_wrapped_is_no_copy_that_merely_keeps_no_times(recorded: Station) -> None:
    for number in range(40):
        set_mtime(recorded, f"heron/recordings/take-{number}.wav", WRAP_NS - (number + 1) * 86_400 * 10**9)

    copy = after_the_first_grace(recorded)

    assert copy.standing is not Standing.PROVEN
    assert not copy.by_size
    assert copy.comparison is not None
    assert copy.comparison.same.files == 0


@pytest.mark.parametrize("hours", [-84, 84])
def test_a_box_whose_clock_is_off_proves_no_age(station: Station, start_sshd: StartSshd, hours: int) -> None:
    station.write("kestrel/recordings/take.wav")
    station.mirror("kestrel/recordings", "heron/recordings")
    station.mirror("kestrel/recordings", "curlew/recordings")
    # Its clock is days off: all that it says of it is what `date` prints.
    clock = station.write("clock/date", f'#!/bin/sh\nexec /usr/bin/date -d "now {hours} hours" "$@"\n')
    clock.chmod(0o755)
    login = station.write("login", f'#!/bin/sh\nPATH={clock.parent}:$PATH exec sh -c "$SSH_ORIGINAL_COMMAND"\n')
    login.chmod(0o755)
    declare(station, start_sshd(f"ForceCommand {login}"))

    audited = station.night()

    heron = copy_of(audited, "field-recordings")
    assert heron.standing is Standing.UNVERIFIED
    assert "is 3 days 1" in heron.reason
    assert f"{'behind' if hours < 0 else 'ahead of'} the auditor's" in heron.reason
    assert copy_of(audited, "field-recordings", 1).standing is Standing.PROVEN
    clocks = {finding.subject: finding.answer for finding in audited.judged.findings if finding.rule == "clocks"}
    assert clocks["heron"] is Answer.NONCONFORMITY
    assert audited.judged.conclusion is Conclusion.NONCONFORMING
    assert not failing_rules(audited, "field-recordings")

"""Real trees over several audits: what goes or is rewritten at once, which copies still hold what was there before."""

from __future__ import annotations

import os
import shutil
from datetime import timedelta
from pathlib import Path

import pytest

from coverage_audit.audits import watching
from coverage_audit.audits.audit import Audited
from coverage_audit.comparison.turnover import Turned
from coverage_audit.errors import ComparisonError
from coverage_audit.judgement.verdict import Answer, Conclusion, Finding, Standing
from tests.builders.two_places import two_places
from tests.parts.station import Station, copy_of, dataset_of

DAY = timedelta(days=1)
FILES = 100
FOUND = "shrinkage:field-recordings@kestrel:main/recordings"
COPIES = ("{at: heron:pool/recordings}", '{at: "heron:pool/points/{point}", points: {folders: "%Y-%m-%d"}}')


def declared(station: Station, criteria: str = "shrinkage: 10%", copies: tuple[str, ...] = COPIES[:1]) -> Station:
    """A hundred takes in two folders, mirrored, and three quiet nights of them."""
    text = two_places(copies=copies)
    station.declare(text.replace("max_age: 26h", f"max_age: 26h, {criteria}") if criteria else text)
    for number in range(FILES):
        name = f"kestrel/recordings/{'spring' if number < 30 else 'summer'}/take-{number}.ods"
        station.write(name, os.urandom(1000 + number), age=timedelta(days=90 + number))
    station.mirror("kestrel/recordings", "heron/recordings")
    return station


def nights(station: Station, count: int = 3) -> Audited:
    """Let some nights go by and return the last one's audit."""
    for _ in range(count - 1):
        station.night()
        station.pass_time(DAY)
    audited = station.night()
    station.pass_time(DAY)
    return audited


def original(station: Station) -> Path:
    return station.root / "kestrel/recordings"


def takes(station: Station, count: int) -> list[Path]:
    return sorted(original(station).glob("*/take-*.ods"), key=lambda one: int(one.stem[5:]))[:count]


def encrypt(station: Station, count: int, suffix: str = ".xyz") -> None:
    """Rewrite files under another suffix, as of an hour ago."""
    for file in takes(station, count):
        later = Path(f"{file}{suffix}")
        later.write_bytes(os.urandom(file.stat().st_size + 64))
        file.unlink()
        station.stamp(str(later.relative_to(station.root)), timedelta(hours=1))


def found(audited: Audited, name: str = FOUND) -> Finding:
    (one,) = [finding for finding in dataset_of(audited, "field-recordings").findings if finding.id == name]
    return one


def test_files_rewritten_under_another_suffix_are_told_in_the_same_audit(station: Station) -> None:
    declared(station)
    before = nights(station)
    assert found(before).answer is Answer.CONFORMITY
    assert before.judged.conclusion is Conclusion.CONFORMING
    encrypt(station, 10)

    audited = station.night()

    told = found(audited)
    assert told.answer is Answer.NONCONFORMITY
    assert told.measured == "10 (10%) of 100 files and 10.0 kB (10%) of 105 kB lost"
    assert "10 files went each while one of its name with the suffix “.xyz” came" in told.message
    assert "heron:pool/recordings still holds 10 files (10.0 kB) of 10 files (10.0 kB) as before" in told.message
    assert "Stop the next runs to heron:pool/recordings." in told.mend
    assert audited.judged.conclusion is Conclusion.NONCONFORMING
    assert [change.finding.id for change in audited.recorded.transitions] == [FOUND]


def test_a_mirror_that_was_stopped_for_it_is_not_called_stale_however_long_that_lasts(station: Station) -> None:
    declared(station)
    nights(station)
    encrypt(station, 60)

    audited = nights(station, 4)

    copy = copy_of(audited, "field-recordings")
    assert copy.standing is Standing.PROVEN
    assert copy.comparison is not None
    assert copy.comparison.held_back.files == 60
    assert any("held back: 60 files" in remark for remark in copy.remarks)
    assert found(audited).answer is Answer.NONCONFORMITY
    assert audited.judged.conclusion is Conclusion.NONCONFORMING


def test_what_came_besides_the_change_counts_against_the_mirror_that_was_stopped(station: Station) -> None:
    declared(station)
    nights(station)
    encrypt(station, 10)
    station.write("kestrel/recordings/new-take.ods", b"of tonight", age=timedelta(hours=2))

    audited = nights(station, 3)

    assert copy_of(audited, "field-recordings").standing is Standing.STALE


def test_a_deleted_folder_stands_through_the_nights_until_it_is_back(station: Station) -> None:
    declared(station)
    nights(station)
    shutil.move(original(station) / "spring", station.root / "aside")
    first = station.night()
    assert found(first).answer is Answer.NONCONFORMITY
    assert "heron:pool/recordings still holds 30 files" in found(first).message
    station.pass_time(DAY)
    later = nights(station, 4)  # the new state is the last one by now, and three listings are kept at most
    assert found(later).answer is Answer.NONCONFORMITY
    assert found(later).measured == found(first).measured
    assert not later.recorded.transitions

    shutil.copytree(station.root / "heron/recordings/spring", original(station) / "spring", symlinks=True)
    back = station.night()

    assert found(back).answer is Answer.CONFORMITY
    assert back.judged.conclusion is Conclusion.CONFORMING


def test_a_deletion_that_the_mirror_took_over_proves_no_older_state(station: Station) -> None:
    declared(station)
    nights(station)
    shutil.rmtree(original(station) / "spring")
    station.mirror("kestrel/recordings", "heron/recordings")

    audited = station.night()

    copy = copy_of(audited, "field-recordings")
    assert copy.standing is Standing.PROVEN  # it equals its original, and that is what a mirror is
    assert copy.comparison is not None
    assert (copy.comparison.missing.files, copy.comparison.changed.files) == (0, 0)
    told = found(audited)
    assert told.answer is Answer.NONCONFORMITY
    assert "heron:pool/recordings has taken it over" in told.message
    assert "no copy is known that holds the state before it" in told.message
    beside = found(audited, "shrinkage:field-recordings@heron:pool/recordings")
    assert beside.answer is Answer.OBSERVATION
    assert audited.judged.conclusion is Conclusion.NONCONFORMING


def test_where_older_states_are_asked_for_a_mirror_alone_never_conforms(station: Station) -> None:
    declared(station, "keep: {daily: 2}")

    audited = nights(station)

    assert copy_of(audited, "field-recordings").standing is Standing.PROVEN
    (kept,) = [one for one in dataset_of(audited, "field-recordings").findings if one.rule == "kept-points"]
    assert kept.answer is Answer.NONCONFORMITY


def test_older_points_that_hold_the_former_state_are_named(station: Station) -> None:
    declared(station, copies=COPIES)
    for days in (2, 1):
        point = station.root / "heron/points" / f"{station.now() - days * DAY:%Y-%m-%d}"
        shutil.copytree(original(station), point)
    station.night()
    station.pass_time(DAY)
    shutil.rmtree(original(station) / "summer")
    station.mirror("kestrel/recordings", "heron/recordings")

    told = found(station.night()).message

    assert "heron:pool/recordings has taken it over" in told
    assert "heron:pool/points/{point} has 2 recovery points from before it, by their dates" in told
    assert "no copy is known" not in told


def test_many_files_cut_to_nothing_are_lost_and_the_mirror_that_holds_them_is_not_blamed(station: Station) -> None:
    declared(station)
    nights(station)
    for file in takes(station, 40):
        file.write_bytes(b"")
        station.stamp(str(file.relative_to(station.root)), timedelta(hours=1))

    audited = nights(station, 3)

    assert "40 files hold no byte any more" in found(audited).message
    assert "still holds 40 files" in found(audited).message
    assert copy_of(audited, "field-recordings").standing is Standing.PROVEN
    assert audited.judged.conclusion is Conclusion.NONCONFORMING


def test_files_rewritten_in_place_with_their_sizes_and_times_put_forward_are_told(station: Station) -> None:
    declared(station)
    nights(station, 4)
    for file in takes(station, 50):
        file.write_bytes(os.urandom(file.stat().st_size))
        station.stamp(str(file.relative_to(station.root)), timedelta(hours=1))

    audited = nights(station, 3)

    assert "50 (50%) rewritten" in found(audited).measured
    assert found(audited).answer is Answer.NONCONFORMITY
    assert copy_of(audited, "field-recordings").standing is Standing.PROVEN
    comparison = copy_of(audited, "field-recordings").comparison
    assert comparison is not None
    assert comparison.held_back.files == 50


def test_an_original_whose_disk_is_not_mounted_shows_an_empty_folder_and_is_told_by_both_rules(
    station: Station,
) -> None:
    declared(station, criteria="")
    nights(station)
    away = station.root / "away"
    shutil.move(original(station), away)
    original(station).mkdir()

    audited = station.night()

    assert found(audited).answer is Answer.NONCONFORMITY
    assert "nothing at all is left" in found(audited).message
    assert dataset_of(audited, "field-recordings").original.standing is Standing.UNVERIFIED
    assert copy_of(audited, "field-recordings").standing is Standing.UNVERIFIED  # neither stale nor incomplete
    station.pass_time(DAY)
    original(station).rmdir()
    shutil.move(away, original(station))
    assert station.night().judged.conclusion is Conclusion.CONFORMING


def test_an_original_that_grew_or_was_put_in_order_is_no_alarm(station: Station) -> None:
    declared(station)
    nights(station)
    for number in range(60):
        station.write(f"kestrel/recordings/autumn/take-{number}.ods", b"new", age=timedelta(hours=2))
    shutil.move(original(station) / "spring", original(station) / "2026-spring")

    audited = station.night()

    assert found(audited).answer is Answer.CONFORMITY
    assert audited.judged.conclusion is Conclusion.CONFORMING


def test_two_of_five_files_are_no_alarm_unless_that_is_declared(station: Station) -> None:
    declared(station, criteria="")
    shutil.rmtree(original(station) / "summer")
    for file in takes(station, 25):
        file.unlink()
    nights(station, 2)
    for file in sorted(original(station).glob("spring/*"))[:2]:
        file.unlink()
    assert found(station.night()).answer is Answer.CONFORMITY

    station.declare(two_places().replace("max_age: 26h", "max_age: 26h, shrinkage: 10%"))
    station.pass_time(timedelta(hours=1))

    assert found(station.night()).answer is Answer.NONCONFORMITY  # of the same day: held against the same listing


def test_a_seasons_move_is_accepted_by_one_waiver_and_is_over_the_night_after(station: Station) -> None:
    declared(station)
    nights(station)
    shutil.rmtree(original(station) / "spring")
    assert found(station.night()).answer is Answer.NONCONFORMITY
    until = f"{station.now() + 60 * DAY:%Y-%m-%d}"
    words = ("--until", until, "--why", "spring went to the archive", "--who", "Aoife")
    assert station.command("waive", FOUND, *words).status == 0
    station.pass_time(DAY)

    accepted = station.night()
    assert found(accepted).answer is Answer.WAIVED
    assert accepted.judged.conclusion is Conclusion.CONFORMING
    station.pass_time(DAY)
    assert found(station.night()).answer is Answer.CONFORMITY
    station.pass_time(DAY)
    shutil.rmtree(original(station) / "summer")

    assert found(station.night()).answer is Answer.NONCONFORMITY  # the waiver is of another change


def test_what_goes_bit_by_bit_in_many_audits_of_one_day_goes_at_once(station: Station) -> None:
    declared(station)
    nights(station)
    answers = []
    for _ in range(4):
        for file in takes(station, 4):
            file.unlink()
        answers.append(found(station.night()).answer)
        station.pass_time(timedelta(hours=1))

    assert answers == [Answer.CONFORMITY, Answer.CONFORMITY, Answer.NONCONFORMITY, Answer.NONCONFORMITY]


def test_a_second_change_behind_the_first_is_not_hidden_by_it(station: Station) -> None:
    declared(station)
    nights(station)
    shutil.rmtree(original(station) / "spring")
    first = found(station.night())
    station.pass_time(DAY)
    encrypt(station, 20)

    second = found(station.night())

    assert second.measured.startswith("50 (50%) of 100 files")
    assert first.degree is not None
    assert second.degree is not None
    assert second.degree > first.degree
    assert "20 files went each while one of its name with the suffix “.xyz” came" in second.message


def test_what_is_usual_by_now_does_not_end_a_change_that_stood_before(station: Station) -> None:
    """Three nights that lose less than is much teach what is usual there; what went before that is gone still."""
    declared(station, "")
    nights(station)
    for file in takes(station, 25):
        file.unlink()
    audited = nights(station, 1)
    assert found(audited).answer is Answer.NONCONFORMITY
    for count in (13, 11, 9):
        for file in takes(station, count):
            file.unlink()
        audited = nights(station, 1)

    assert found(audited).answer is Answer.NONCONFORMITY
    assert found(nights(station, 1)).answer is Answer.NONCONFORMITY


def test_the_state_before_that_cannot_be_read_any_more_ends_nothing(station: Station) -> None:
    declared(station)
    nights(station)
    shutil.rmtree(original(station) / "spring")
    station.night()
    station.pass_time(DAY)
    for file in (station.state / "manifests").iterdir():
        file.write_bytes(b"damaged")

    audited = station.night()

    assert found(audited).answer is Answer.NONCONFORMITY
    assert "could not be told in this audit" in found(audited).message


def test_a_night_on_which_the_auditor_failed_to_compare_is_made_up_for(
    station: Station, monkeypatch: pytest.MonkeyPatch
) -> None:
    declared(station)
    nights(station)
    shutil.rmtree(original(station) / "spring")

    def full(*_: object, **__: object) -> Turned:
        raise ComparisonError("the disk is full")

    with monkeypatch.context() as failing:
        failing.setattr(watching, "turn", full)
        failed = station.night()
    assert found(failed).answer is Answer.UNVERIFIED
    station.pass_time(DAY)

    assert found(station.night()).answer is Answer.NONCONFORMITY


def test_it_stands_while_the_original_is_not_seen(station: Station) -> None:
    declared(station)
    nights(station)
    shutil.rmtree(original(station) / "spring")
    assert found(station.night()).answer is Answer.NONCONFORMITY
    station.pass_time(DAY)
    shutil.move(station.root / "kestrel", station.root / "unplugged")

    away = station.night()

    assert found(away).answer is Answer.NONCONFORMITY
    assert "could not be told in this audit" in found(away).message
    assert copy_of(away, "field-recordings").standing is not Standing.STALE


def test_what_a_mirror_loses_by_itself_is_told_of_the_mirror(station: Station) -> None:
    declared(station)
    nights(station)
    shutil.rmtree(station.root / "heron/recordings/spring")

    audited = station.night()

    told = found(audited, "shrinkage:field-recordings@heron:pool/recordings")
    assert told.answer is Answer.NONCONFORMITY
    assert "the original still holds 30 files" in told.message
    assert found(audited).answer is Answer.CONFORMITY


def test_what_was_rewritten_after_a_deletion_was_waived_is_not_accepted_with_it(station: Station) -> None:
    declared(station)
    nights(station)
    shutil.rmtree(original(station) / "summer")
    station.night()
    words = ("--until", f"{station.now() + 60 * DAY:%Y-%m-%d}", "--why", "to the archive", "--who", "Aoife")
    assert station.called("waive", FOUND, *words).status == 0
    station.pass_time(DAY)
    for file in takes(station, 20):
        file.write_bytes(os.urandom(file.stat().st_size))
        station.stamp(str(file.relative_to(station.root)), timedelta(hours=1))

    told = found(station.night())

    assert told.answer is Answer.NONCONFORMITY
    assert "it is another trouble now" in told.message


def test_a_copy_without_times_that_nobody_wrote_to_since_still_holds_what_was_rewritten(station: Station) -> None:
    declared(station)
    for file in (station.root / "heron/recordings").rglob("*.ods"):
        os.utime(file, ns=(file.stat().st_atime_ns, file.stat().st_mtime_ns + 10**15))
    nights(station)
    for file in takes(station, 60):
        before = file.stat()
        file.write_bytes(os.urandom(before.st_size))
        os.utime(file, ns=(before.st_atime_ns, before.st_mtime_ns - 10**12))

    told = found(station.night())

    assert told.answer is Answer.NONCONFORMITY
    assert "taken it over" not in told.message
    assert "no copy is known" not in told.message


def test_files_written_to_with_size_and_time_put_back_are_told_by_their_ctimes(station: Station) -> None:
    declared(station)
    nights(station)
    for file in takes(station, 60):
        before = file.stat()
        file.write_bytes(os.urandom(before.st_size))
        os.utime(file, ns=(before.st_atime_ns, before.st_mtime_ns))

    told = found(station.night())

    assert told.answer is Answer.OBSERVATION
    assert "60 of 100 files were written to, or had their permissions or links changed" in told.message
    assert "coverage-audit verify field-recordings --all" in told.mend

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import timedelta
from pathlib import Path

import pytest

from coverage_audit.comparison.compare import match
from coverage_audit.comparison.rows import DifferingRow, differing_rows
from coverage_audit.comparison.types import Matched, Workspace
from coverage_audit.errors import ComparisonError, EvidenceError
from coverage_audit.estate.model import Address, DeviceId, VolumeId, VolumeKey
from coverage_audit.evidence.difference import Mode, RowClass, Tally
from coverage_audit.evidence.manifest import Blind, Kind, Manifest, Row
from tests.builders.manifests import MEMORY, MTIME, SEED, STARTED, a_folder, a_link, a_manifest, a_row

SECOND = 10**9
HOUR = 3600 * SECOND
HERON = Address(volume=VolumeKey(device=DeviceId("heron"), volume=VolumeId("pool")), path="mirror")


def _match(original: Manifest, copy: Manifest, leave_out: Sequence[str] = (), memory: int = MEMORY) -> Matched:
    work = Workspace(folder=original.file.parent, memory=memory, seed=SEED)
    return match(original, copy, leave_out=leave_out, work=work)


def _differing(matched: Matched) -> dict[bytes, DifferingRow]:
    return {row.path: row for row in differing_rows(matched.relation)}


def _classes(matched: Matched) -> dict[bytes, RowClass]:
    return {path: row.row_class for path, row in _differing(matched).items()}


def _compare(folder: Path, original: Sequence[Row], copy: Sequence[Row]) -> Matched:
    return _match(a_manifest(folder, original), a_manifest(folder, copy))


def test_a_copy_that_holds_everything_differs_in_nothing(tmp_path: Path) -> None:
    tree = [a_folder(b"takes"), a_row(b"takes/one"), a_link(b"latest", b"takes/one")]

    matched = _compare(tmp_path, tree, tree)

    assert matched.same == matched.total == Tally(files=2, bytes=100)
    assert (matched.rows, matched.missing, matched.changed, matched.extra) == (0, Tally(), Tally(), Tally())
    assert matched.newest_same_mtime_ns == MTIME


def test_each_kind_of_difference_has_its_class_and_both_sides_values(tmp_path: Path) -> None:
    original = [
        a_row(b"gone"),
        a_row(b"edited", mtime_ns=MTIME + 1),
        a_row(b"touched in the copy"),
        a_row(b"resized", size=7),
        a_row(b"became a folder"),
        a_link(b"turned", b"here"),
    ]
    copy = [
        a_row(b"edited"),
        a_row(b"touched in the copy", mtime_ns=MTIME + 1),
        a_row(b"resized", size=8),
        a_folder(b"became a folder"),
        a_link(b"turned", b"away"),
        a_row(b"its own"),
    ]

    matched = _compare(tmp_path, original, copy)

    assert _classes(matched) == {
        b"gone": RowClass.MISSING,
        b"edited": RowClass.OLDER,
        b"touched in the copy": RowClass.NEWER,
        b"resized": RowClass.OTHER,
        b"became a folder": RowClass.OTHER,
        b"turned": RowClass.OTHER,
        b"its own": RowClass.EXTRA,
    }
    edited = _differing(matched)[b"edited"]
    assert (edited.original, edited.copy) == (original[1], copy[0])
    assert matched.missing == Tally(files=1, bytes=100)
    assert matched.changed == Tally(files=5, bytes=307)
    assert matched.extra == Tally(files=1, bytes=100)


def test_folders_count_by_being_there(tmp_path: Path) -> None:
    matched = _compare(tmp_path, [a_folder(b"a"), a_folder(b"b")], [a_folder(b"a", mtime_ns=MTIME + HOUR)])

    assert _classes(matched) == {b"b": RowClass.MISSING}
    assert (matched.missing, matched.folders_missing) == (Tally(), 1)


def test_names_that_differ_in_case_or_form_are_two(tmp_path: Path) -> None:
    """A target that folds case or normalises holds one of two: the other is missing, and said by name."""
    names = [b"Heron", b"heron", "u\u0308ber".encode(), "\u00fcber".encode()]

    matched = _compare(tmp_path, [a_row(name) for name in names], [a_row(names[0]), a_row(names[3])])

    assert _classes(matched) == {names[1]: RowClass.MISSING, names[2]: RowClass.MISSING}


def test_two_second_times_hold_a_file_and_a_single_hour_does_not(tmp_path: Path) -> None:
    original = [a_row(b"%02d" % number, mtime_ns=MTIME + number * SECOND) for number in range(40)]
    copy = [replace(row, mtime_ns=row.mtime_ns // (2 * SECOND) * 2 * SECOND) for row in original]
    copy[7] = replace(copy[7], mtime_ns=copy[7].mtime_ns - HOUR)

    matched = _compare(tmp_path, original, copy)

    assert matched.mode == Mode(granularity_ns=2 * SECOND)
    assert _classes(matched) == {b"07": RowClass.OLDER}


def test_a_zone_error_of_nearly_all_files_is_found_and_said(tmp_path: Path) -> None:
    original = [a_row(b"%02d" % number, mtime_ns=MTIME + number) for number in range(40)]
    copy = [replace(row, mtime_ns=row.mtime_ns - 2 * HOUR) for row in original]
    copy[3] = original[3]  # its true time: two hours off from all others, so not what the copy should show

    matched = _compare(tmp_path, original, copy)

    assert matched.mode.shift == timedelta(hours=2)
    assert _classes(matched) == {b"03": RowClass.NEWER}


def test_equal_groups_do_not_hide_from_a_zone_error(tmp_path: Path) -> None:
    """2,000 files are equal to the nanosecond in groups of their own, 60,000 are an hour off: all are read again."""
    original = [a_row(b"a/%05d" % number, mtime_ns=MTIME + number) for number in range(60_000)]
    equal = [a_row(b"b/%05d" % number) for number in range(2000)]
    copy = [replace(row, mtime_ns=row.mtime_ns - HOUR) for row in original]

    matched = _compare(tmp_path, original + equal, copy + equal)

    assert matched.mode.shift == timedelta(hours=1)
    assert set(_classes(matched).values()) == {RowClass.NEWER}
    assert matched.changed.files == 2000


def _untimed(folder: Path, offset: timedelta | None, later_ns: Sequence[int]) -> Matched:
    original = [a_row(b"%02d" % number) for number in range(len(later_ns))]
    copy = [replace(row, mtime_ns=row.mtime_ns + later) for row, later in zip(original, later_ns, strict=True)]
    return _match(
        a_manifest(folder, original, clock_offset=timedelta(0)),
        a_manifest(folder, copy, clock_offset=offset, address=HERON),
    )


def test_a_copy_that_keeps_no_times_holds_what_was_written_after(tmp_path: Path) -> None:
    matched = _untimed(tmp_path, timedelta(0), [HOUR + number for number in range(39)] + [-1])

    assert matched.mode == Mode(granularity_ns=1, by_size=True, offset_ns=0)
    assert _classes(matched) == {b"39": RowClass.OLDER}


def test_by_size_the_copys_clock_is_corrected_first(tmp_path: Path) -> None:
    matched = _untimed(tmp_path, timedelta(seconds=90), [91 * SECOND] * 39 + [89 * SECOND])

    assert matched.mode.offset_ns == -90 * SECOND
    assert list(_classes(matched)) == [b"39"]


@pytest.mark.parametrize("offset", [None, timedelta(minutes=6)])
def test_by_size_an_unknown_or_wrong_clock_holds_nothing(offset: timedelta | None, tmp_path: Path) -> None:
    matched = _untimed(tmp_path, offset, [HOUR + number for number in range(40)])

    assert matched.mode.by_size
    assert matched.same == Tally()


@pytest.mark.parametrize("odd", [-1, -(2**63), 2**63 - 1, (2**32 - 86_400) * SECOND])
def test_a_wrapped_time_is_neither_newer_nor_older(odd: int, tmp_path: Path) -> None:
    matched = _compare(tmp_path, [a_row(b"a"), a_row(b"b", mtime_ns=odd)], [a_row(b"a", mtime_ns=odd), a_row(b"b")])

    assert _classes(matched) == {b"a": RowClass.OTHER, b"b": RowClass.OTHER}


def test_a_time_of_tomorrow_is_plausible_and_one_of_the_day_after_is_not(tmp_path: Path) -> None:
    started = int(STARTED.timestamp()) * SECOND
    copy = [a_row(b"a", mtime_ns=started + 24 * HOUR), a_row(b"b", mtime_ns=started + 24 * HOUR + 1)]

    assert _classes(_compare(tmp_path, [a_row(b"a"), a_row(b"b")], copy)) == {
        b"a": RowClass.NEWER,
        b"b": RowClass.OTHER,
    }


def test_what_is_missing_below_a_blind_place_is_marked_and_what_is_seen_is_seen(tmp_path: Path) -> None:
    tree = [a_folder(b"shut"), a_row(b"shut/in"), a_row(b"shut-out"), a_folder(b"shut/deep"), a_row(b"shut/deep/in")]
    copy = a_manifest(tmp_path, [a_folder(b"shut"), a_row(b"shut/in", size=1)], blind=[Blind(path=b"shut", why="no")])

    matched = _match(a_manifest(tmp_path, tree), copy)

    assert {path: row.blind for path, row in _differing(matched).items()} == {
        b"shut-out": False,
        b"shut/in": False,
        b"shut/deep": True,
        b"shut/deep/in": True,
    }
    assert matched.missing_blind == Tally(files=1, bytes=100)
    assert (matched.blind_original, matched.blind_copy) == (False, True)


def test_what_the_copy_has_where_the_original_was_not_looked_into_is_no_extra(tmp_path: Path) -> None:
    original = a_manifest(tmp_path, [a_folder(b"shut")], blind=[Blind(path=b"shut", why="permission denied")])
    copy = a_manifest(tmp_path, [a_folder(b"shut"), a_row(b"shut/in"), a_row(b"own")])

    matched = _match(original, copy)

    assert _classes(matched) == {b"own": RowClass.EXTRA}
    assert matched.extra == Tally(files=1, bytes=100)


def test_what_is_left_out_is_counted_over_the_original_and_nowhere_else(tmp_path: Path) -> None:
    original = [a_row(b"a.tmp"), a_folder(b"cache"), a_row(b"cache/x", size=3), a_row(b"keep.tmp"), a_row(b"take")]
    copy = [a_row(b"b.tmp"), a_folder(b"cache"), a_row(b"cache/own"), a_row(b"take")]

    matched = _match(
        a_manifest(tmp_path, original), a_manifest(tmp_path, copy), ["*.tmp", "cache/", "!keep.tmp", "*.bak"]
    )

    assert matched.left_out_by == (
        ("*.tmp", Tally(files=1, bytes=100)),
        ("cache/", Tally(files=1, bytes=3)),
        ("*.bak", Tally()),
    )
    assert matched.left_out == Tally(files=2, bytes=103)
    assert _classes(matched) == {b"keep.tmp": RowClass.MISSING}
    assert (matched.total.files, matched.same.files, matched.extra) == (2, 1, Tally())


def test_files_in_a_renamed_folder_are_said_to_be_there_under_an_old_name(tmp_path: Path) -> None:
    original = [a_folder(b"new"), *(a_row(b"new/%d" % number, size=number) for number in range(5)), a_row(b"new/late")]
    copy = [a_folder(b"old"), *(a_row(b"old/%d" % number, size=number) for number in range(5)), a_row(b"old/other")]

    matched = _compare(tmp_path, original, copy)

    assert matched.under_old_name == Tally(files=5, bytes=10)
    assert matched.missing.files == 6


def test_one_empty_file_elsewhere_stands_for_one_missing_file_not_for_all(tmp_path: Path) -> None:
    original = [a_row(b"%d/.keep" % number, size=0) for number in range(100)]

    assert _compare(tmp_path, original, [a_row(b"x/.keep", size=0)]).under_old_name == Tally(files=1, bytes=0)


def test_a_held_file_cannot_have_arrived_after_its_ctime(tmp_path: Path) -> None:
    tree = [a_row(b"a", ctime_ns=MTIME + 5), a_row(b"b", mtime_ns=MTIME + 9, ctime_ns=MTIME + 2)]

    matched = _compare(tmp_path, tree, [*tree, a_row(b"own")])

    assert matched.newest_same_mtime_ns == MTIME + 9
    assert matched.newest_same_arrival_ns == MTIME + 2


def test_manifests_of_two_seeds_cannot_be_matched(tmp_path: Path) -> None:
    original = a_manifest(tmp_path, [a_row(b"a")])
    copy = a_manifest(tmp_path, [a_row(b"a")], seed=b"another ledger's")

    with pytest.raises(ComparisonError, match="another ledger's seed"):
        _match(original, copy)


def test_a_file_that_changed_underneath_is_not_compared(tmp_path: Path) -> None:
    original, copy = a_manifest(tmp_path, [a_row(b"a")]), a_manifest(tmp_path, [a_row(b"a")])
    a_manifest(tmp_path, [a_row(b"a"), a_row(b"b")]).file.replace(copy.file)

    with pytest.raises(ComparisonError, match="changed underneath"):
        _match(original, copy)


def test_a_cut_manifest_is_not_compared(tmp_path: Path) -> None:
    original, copy = (a_manifest(tmp_path, [a_row(b"%d" % number) for number in range(3000)]) for _ in range(2))
    copy.file.write_bytes(copy.file.read_bytes()[:-1000])

    with pytest.raises(EvidenceError):
        _match(original, copy)


def test_damage_inside_a_manifest_is_no_difference_but_an_error(tmp_path: Path) -> None:
    original = a_manifest(tmp_path, [a_row(b"%d" % number) for number in range(3000)])
    copy = a_manifest(tmp_path, [a_row(b"%d" % number, mtime_ns=MTIME + 1) for number in range(3000)])
    content = bytearray(copy.file.read_bytes())
    content[200] ^= 0xFF
    copy.file.write_bytes(content)

    with pytest.raises(EvidenceError):
        _match(original, copy)
    assert not list(tmp_path.glob("differences-*"))


def test_a_pattern_that_makes_no_sense_is_an_error_not_an_empty_rule(tmp_path: Path) -> None:
    tree = a_manifest(tmp_path, [a_row(b"a")])

    with pytest.raises(ComparisonError, match="cannot be understood"):
        _match(tree, tree, ["! "])


def test_too_little_memory_is_said(tmp_path: Path) -> None:
    original = a_manifest(tmp_path, [a_row(b"%06d" % number) for number in range(100_000)])
    copy = a_manifest(tmp_path, [a_row(b"%06d" % number, mtime_ns=MTIME + number) for number in range(100_000)])

    with pytest.raises(ComparisonError):
        _match(original, copy, memory=100_000)
    assert not list(tmp_path.glob("differences-*"))


def test_devices_and_pipes_count_by_kind(tmp_path: Path) -> None:
    pipe = a_row(b"pipe", kind=Kind.OTHER, size=0)

    matched = _compare(
        tmp_path, [pipe, a_row(b"was a pipe")], [replace(pipe, mtime_ns=0), replace(pipe, path=b"was a pipe")]
    )

    assert _classes(matched) == {b"was a pipe": RowClass.OTHER}

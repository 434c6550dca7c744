"""Copies that fold names: held under another spelling, and the one of two names that a collision lost."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import timedelta
from pathlib import Path
from typing import Any

import pyarrow as pa
import pytest

from coverage_audit.comparison.carry import carry
from coverage_audit.comparison.compare import match
from coverage_audit.comparison.rows import differing_rows
from coverage_audit.comparison.spelling import folded
from coverage_audit.comparison.types import Earlier, Matched, Workspace
from coverage_audit.evidence.difference import RowClass, Seen, Sight, Tally
from coverage_audit.evidence.manifest import Blind, Row
from tests.builders.manifests import MEMORY, MTIME, SEED, STARTED, a_folder, a_manifest, a_row

SECOND = 10**9
DAY = timedelta(days=1)


def work_in(folder: Path) -> Workspace:
    return Workspace(folder=folder, memory=MEMORY, seed=SEED)


def compared(folder: Path, original: Sequence[Row], copy: Sequence[Row], **origin: Any) -> Matched:
    mine = a_manifest(folder, original)
    return match(mine, a_manifest(folder, copy, **origin), leave_out=(), work=work_in(folder))


def classes(matched: Matched) -> dict[bytes, RowClass]:
    return {row.path: row.row_class for row in differing_rows(matched.relation)}


@pytest.mark.parametrize(
    ("one", "other"),
    [
        (b"Takes/One.WAV", b"TAKES/ONE.wav"),
        ("f\u00fcr".encode(), "fu\u0308r".encode()),
        (b"STRASSE", "stra\u00dfe".encode()),
        ("\u03a3\u03af\u03c3\u03c5\u03c6\u03bf\u03c2".encode(), "\u03c3\u03af\u03c3\u03c5\u03c6\u03bf\u03c3".encode()),
        (b"name./x", b"name/x"),
        (b"end. ", b"end"),
    ],
)
def test_what_differs_in_case_form_or_end_is_one_name(one: bytes, other: bytes) -> None:
    """Unicode Standard, section 3.13, D145 (canonical caseless match)."""
    forms = folded(pa.array([one, other], pa.binary())).to_pylist()
    assert forms[0] == forms[1]


def test_names_that_are_no_utf_8_are_folded_by_nobody() -> None:
    assert folded(pa.array([b"\xff", b"a", b".hidden"], pa.binary())).to_pylist() == [None, "a", ".hidden"]


def test_a_copy_in_capitals_with_two_second_times_holds_everything(tmp_path: Path) -> None:
    original = [a_folder(b"takes"), *(a_row(b"takes/%02d.wav" % n, mtime_ns=MTIME + n * SECOND) for n in range(40))]
    copy = [replace(row, path=row.path.upper(), mtime_ns=row.mtime_ns // (2 * SECOND) * 2 * SECOND) for row in original]

    matched = compared(tmp_path, original, copy, filesystem_type="vfat")

    assert classes(matched) == {}
    assert (matched.same, matched.missing, matched.extra) == (Tally(files=40, bytes=4000), Tally(), Tally())
    assert matched.newest_same_mtime_ns == max(row.mtime_ns for row in original)
    assert matched.sights == (
        Seen(sight=Sight.OTHER_SPELLING, entries=40, example=b"takes/00.wav", beside=b"TAKES/00.WAV"),
    )


def test_of_two_names_that_fold_into_one_exactly_one_is_held_and_the_other_is_named(tmp_path: Path) -> None:
    original = [a_row(b"Heron", size=1), a_row(b"heron", size=2)]

    for held, lost in ((original[0], b"heron"), (replace(original[1], path=b"Heron"), b"Heron")):
        matched = compared(tmp_path, original, [held])

        assert classes(matched) == {lost: RowClass.MISSING}
        assert matched.same.files == 1
        collision = [seen for seen in matched.sights if seen.sight is Sight.COLLIDING]
        assert [(seen.entries, seen.example) for seen in collision] == [(1, lost)]
        assert collision[0].beside == b"Heron"


def test_two_names_and_one_file_of_a_third_spelling_hold_one(tmp_path: Path) -> None:
    matched = compared(tmp_path, [a_row(b"a"), a_row(b"A"), a_row(b"x/b")], [a_row(b"a."), a_row(b"x/b")])

    assert matched.same.files == 2
    assert matched.missing.files == 1


def test_another_size_under_another_spelling_is_a_change_and_no_loss(tmp_path: Path) -> None:
    matched = compared(tmp_path, [a_row(b"log", mtime_ns=MTIME + 9)], [a_row(b"LOG", size=7)])

    (row,) = differing_rows(matched.relation)
    assert (row.path, row.row_class) == (b"log", RowClass.OLDER)
    assert row.copy is not None
    assert row.copy.size == 7
    assert (matched.missing, matched.changed.files, matched.extra) == (Tally(), 1, Tally())


def test_a_log_that_changed_since_did_not_go_back_where_names_are_folded(tmp_path: Path) -> None:
    """Yesterday held under another spelling, today younger in the original: an ordinary night."""
    mine = a_manifest(tmp_path, [a_row(b"log")])
    copy = [a_row(b"LOG")]
    work = work_in(tmp_path)
    first = carry(
        match(mine, a_manifest(tmp_path, copy), leave_out=(), work=work),
        None,
        now=STARTED,
        look=None,
        max_age=DAY,
        work=work,
    )
    started = STARTED + DAY / 2
    edited = a_manifest(tmp_path, [a_row(b"log", size=9, mtime_ns=MTIME + 40 * 86400 * SECOND)], started=started)
    today = match(edited, a_manifest(tmp_path, copy, started=started), leave_out=(), work=work)
    earlier = Earlier(at=STARTED, originals=((STARTED, mine.file),), relation=first.relation)
    found = carry(today, earlier, now=started, look=None, max_age=DAY, work=work)

    assert (found.pending.files, found.went_back.files) == (1, 0)


def test_a_folder_and_a_file_of_one_folded_name_are_two(tmp_path: Path) -> None:
    matched = compared(tmp_path, [a_row(b"a")], [a_folder(b"A")])

    assert classes(matched) == {b"a": RowClass.MISSING, b"A": RowClass.EXTRA}


def test_another_content_under_another_spelling_is_not_held(tmp_path: Path) -> None:
    mine = a_manifest(tmp_path, [a_row(b"a", digest=b"1")], digest="md5")
    copy = a_manifest(tmp_path, [a_row(b"A", digest=b"2")], digest="md5")

    matched = match(mine, copy, leave_out=(), work=work_in(tmp_path))

    assert classes(matched) == {b"a": RowClass.CONTENT}


def test_a_hollow_file_under_another_spelling_is_not_held(tmp_path: Path) -> None:
    original = a_row(b"a", size=1 << 20, blocks=2048)

    assert classes(compared(tmp_path, [original], [replace(original, path=b"A", blocks=0)])) == {b"a": RowClass.HOLLOW}


def test_two_spellings_in_the_copy_hold_one_file_and_the_other_is_its_own(tmp_path: Path) -> None:
    matched = compared(tmp_path, [a_row(b"a")], [a_row(b"A"), a_row(b"a.")])

    assert (matched.same.files, matched.extra.files) == (1, 1)


def test_what_differs_under_its_own_name_is_not_held_against_another_spelling(tmp_path: Path) -> None:
    original = [a_row(b"log", mtime_ns=MTIME + 9), a_row(b"gone")]

    matched = compared(tmp_path, original, [a_row(b"log", size=7), a_row(b"LOG", size=8)])

    assert classes(matched) == {b"LOG": RowClass.EXTRA, b"gone": RowClass.MISSING, b"log": RowClass.OLDER}
    assert [row.copy.size for row in differing_rows(matched.relation) if row.path == b"log" and row.copy] == [7]


def test_what_lies_below_a_blind_place_is_not_looked_for_under_another_spelling(tmp_path: Path) -> None:
    mine = a_manifest(tmp_path, [a_folder(b"a"), a_row(b"a/x")])
    copy = a_manifest(tmp_path, [a_folder(b"A"), a_row(b"A/x")], blind=[Blind(path=b"a", why="denied")])

    matched = match(mine, copy, leave_out=(), work=work_in(tmp_path))

    assert (matched.same.files, matched.missing_blind.files) == (0, 1)


def test_another_spelling_without_times_or_digests_proves_nothing(tmp_path: Path) -> None:
    matched = compared(tmp_path, [a_row(b"a")], [a_row(b"A", mtime_ns=0)], lacks=frozenset({"mtime"}))

    assert (matched.same.files, matched.unproven) == (1, Tally(files=1, bytes=100))


def test_a_time_that_cannot_be_is_not_the_newest_that_is_held_under_another_spelling(tmp_path: Path) -> None:
    ahead = MTIME + 400 * DAY // timedelta(microseconds=1) * 1000

    matched = compared(tmp_path, [a_row(b"a", mtime_ns=ahead)], [a_row(b"A", mtime_ns=ahead)])

    assert (matched.same.files, matched.newest_same_mtime_ns, matched.newest_same_arrival_ns) == (1, None, None)


def test_neither_folders_nor_what_lies_below_a_blind_place_is_missing_by_a_collision(tmp_path: Path) -> None:
    mine = a_manifest(tmp_path, [a_folder(b"D"), a_folder(b"e"), a_row(b"e/heron", size=1)])
    listed = [a_row(b"d"), a_folder(b"e"), a_row(b"e/Heron", size=2)]

    matched = match(
        mine,
        a_manifest(tmp_path, listed, blind=[Blind(path=b"e", why="denied")]),
        leave_out=(),
        work=work_in(tmp_path),
    )

    assert classes(matched).keys() >= {b"D", b"e/heron"}
    assert not [seen for seen in matched.sights if seen.sight is Sight.COLLIDING]


def seen_of(matched: Matched) -> dict[Sight, int]:
    return {seen.sight: seen.entries for seen in matched.sights}


def test_of_very_many_missing_files_those_not_looked_for_under_another_spelling_are_counted(tmp_path: Path) -> None:
    pair = a_row(b"take.wav", size=7)
    many = [a_row(b"z/%05d" % number) for number in range(10_020)]

    found = compared(tmp_path, [pair, a_row(b"Take.wav", size=9), *many], [pair])

    assert found.missing.files == 10_021
    assert seen_of(found) == {Sight.COLLIDING: 1, Sight.UNSOUGHT: 21}


def test_where_all_were_looked_for_nothing_is_said_to_be_left(tmp_path: Path) -> None:
    pair = a_row(b"take.wav", size=7)
    many = [a_row(b"z/%05d" % number) for number in range(9_999)]

    found = compared(tmp_path, [pair, a_row(b"Take.wav", size=9), *many], [pair])

    assert seen_of(found) == {Sight.COLLIDING: 1}


def test_what_lies_in_folders_for_which_no_group_was_read_is_counted_too(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("coverage_audit.comparison.colliding.MOST_GROUPS", 0)
    rows = [a_row(b"a/take.wav", size=7), a_row(b"a/Take.wav", size=9)]

    assert seen_of(compared(tmp_path, rows, rows[:1])) == {Sight.UNSOUGHT: 1}

"""What a copy still holds of the state before much changed at once: held back, and nothing besides."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from pathlib import Path

import pytest

from coverage_audit.comparison import taken_over
from coverage_audit.comparison.carry import carry
from coverage_audit.comparison.compare import match
from coverage_audit.comparison.fallen import FALLEN_SCHEMA_NAME, load_fallen
from coverage_audit.comparison.terms import define_types
from coverage_audit.comparison.turnover import turn
from coverage_audit.comparison.types import Earlier
from coverage_audit.errors import ComparisonError
from coverage_audit.evidence.difference import CopyComparison, RowVerdict, Tally
from coverage_audit.evidence.engine import open_engine
from coverage_audit.evidence.instants import to_ns
from coverage_audit.evidence.manifest import Row
from coverage_audit.evidence.turnover import Sign
from tests.builders.manifests import DAY_NS
from tests.builders.manifests import STARTED as NOW
from tests.builders.stories import DAY, HOUR, LAST_NIGHT, MAX_AGE, Story, a_file, old_files

LONG_AGO = NOW - 9 * DAY
KEPT = old_files(10)
VICTIMS = [a_file(b"work/%d.ods" % number, 40 * DAY + number * HOUR, size=200) for number in range(10)]
FORMER = [*KEPT, *VICTIMS]


@dataclass
class Fallen:
    """An original in which something happened nine nights ago, and its copy, compared now for the first time since."""

    story: Story
    signs: tuple[Sign, ...]

    def rows(self, now: Iterable[Row]) -> Path:
        before = self.story.manifest(FORMER, LONG_AGO - DAY)
        after = self.story.manifest(now, LONG_AGO)
        kept = turn(before, after, leave_out=(), judge=lambda _: self.signs, work=self.story.work).rows
        assert kept is not None
        return kept

    def compared(
        self, then: Sequence[Row], copy: Iterable[Row], *, now: Sequence[Row] | None = None, age: datetime = NOW
    ) -> CopyComparison:
        """Compare what the original holds now with the copy, eight nights after the first audit that met it."""
        fallen = self.rows(then)
        seen: CopyComparison | None = None
        mirrored, originals = list(copy), tuple[tuple[datetime, Path], ...]()
        for at in (LONG_AGO, age):
            original = self.story.manifest(then if now is None or at == LONG_AGO else now, at)
            matched = match(original, self.story.manifest(mirrored, at), leave_out=(), work=self.story.work)
            earlier = None
            if seen is not None:
                earlier = Earlier(at=LONG_AGO, originals=originals, relation=seen.relation)
            with_rows = replace(matched, fallen=fallen)
            seen = carry(with_rows, earlier, now=at, look=None, max_age=MAX_AGE, work=self.story.work)
            originals = ((original.origin.started, original.file),)
        assert seen is not None
        return seen


def renamed(victims: Iterable[Row]) -> list[Row]:
    return [a_file(row.path + b".xyz", 9 * DAY + HOUR, size=row.size + 16) for row in victims]


def rewritten(victims: Iterable[Row], size: int = 200) -> list[Row]:
    return [a_file(row.path, 9 * DAY + HOUR, size=size) for row in victims]


@pytest.fixture
def suffixed(tmp_path: Path) -> Fallen:
    return Fallen(Story(folder=tmp_path), (Sign.WENT, Sign.SUFFIXED))


@pytest.fixture
def in_place(tmp_path: Path) -> Fallen:
    return Fallen(Story(folder=tmp_path), (Sign.REWRITTEN,))


def test_files_under_a_new_suffix_are_held_back_where_the_copy_has_the_old_ones(suffixed: Fallen) -> None:
    found = suffixed.compared([*KEPT, *renamed(VICTIMS)], FORMER)

    assert found.held_back == found.held_back_missing == Tally(files=10, bytes=2_160)
    assert (found.counting_rows, found.pending_rows, found.between_rows) == (0, 0, 0)
    assert found.former == Tally(files=10, bytes=2_000)


def test_where_the_copy_has_neither_it_simply_lacks_the_new_ones(suffixed: Fallen) -> None:
    found = suffixed.compared([*KEPT, *renamed(VICTIMS)], [*KEPT, *VICTIMS[:4]])

    assert found.held_back.files == 4
    assert found.counting_rows == 6
    assert found.former == Tally(files=4, bytes=800)


def test_an_old_version_under_the_old_name_is_not_the_state_before(suffixed: Fallen) -> None:
    older = [a_file(row.path, 90 * DAY, size=row.size) for row in VICTIMS]

    found = suffixed.compared([*KEPT, *renamed(VICTIMS)], [*KEPT, *older])

    assert found.held_back == found.former == Tally()
    assert found.counting_rows == 10


def test_a_new_file_of_that_suffix_that_stands_for_none_counts(suffixed: Fallen) -> None:
    beside = a_file(b"work/ransom.xyz", 9 * DAY + HOUR)

    found = suffixed.compared([*KEPT, *renamed(VICTIMS), beside], FORMER)

    assert found.held_back.files == 10
    assert (found.counting_rows, found.counting) == (1, Tally(files=1, bytes=100))


def test_what_was_rewritten_in_place_is_held_back_where_the_copy_has_it_as_before(in_place: Fallen) -> None:
    other = [a_file(row.path, 60 * DAY, size=row.size) for row in VICTIMS[:3]]

    found = in_place.compared([*KEPT, *rewritten(VICTIMS)], [*KEPT, *other, *VICTIMS[3:]])

    assert found.held_back == found.former == Tally(files=7, bytes=1_400)
    assert found.held_back_missing == Tally()
    assert found.counting.files == 3


def test_what_is_edited_after_it_counts_as_ever(in_place: Fallen) -> None:
    first = [*KEPT[:9], *rewritten(VICTIMS), KEPT[9]]
    later = [*KEPT[:9], *rewritten(VICTIMS), a_file(KEPT[9].path, 3 * DAY, size=7), a_file(b"new", 4 * DAY)]

    found = in_place.compared(first, FORMER, now=later, age=NOW)

    assert found.held_back.files == 10
    assert found.counting.files + found.between.files == 2


def test_what_was_merely_edited_that_night_is_no_part_of_a_deletion(tmp_path: Path) -> None:
    deletion = Fallen(Story(folder=tmp_path), (Sign.WENT,))
    edited = a_file(KEPT[0].path, 9 * DAY + HOUR, size=3)

    found = deletion.compared([edited, *KEPT[1:]], FORMER)

    assert found.held_back == Tally()
    assert found.former == Tally(files=10, bytes=2_000)
    assert found.counting.files == 1


def test_content_that_digests_show_to_differ_is_never_held_back(in_place: Fallen) -> None:
    spoilt = [replace(row, digest=bytes(32)) for row in rewritten(VICTIMS)]
    fallen = in_place.rows([*KEPT, *rewritten(VICTIMS)])
    original = in_place.story.manifest(spoilt, NOW, digest="sha256")
    copy = in_place.story.manifest(
        [replace(row, digest=b"\1" * 32) for row in rewritten(VICTIMS)], NOW, digest="sha256"
    )
    matched = replace(match(original, copy, leave_out=(), work=in_place.story.work), fallen=fallen)

    found = carry(matched, None, now=NOW, look=None, max_age=MAX_AGE, work=in_place.story.work)

    assert found.held_back == Tally()
    assert found.content.files == 10


def test_the_tallies_still_add_up_and_the_rows_are_kept_with_their_verdict(suffixed: Fallen) -> None:
    found = suffixed.compared([*KEPT, *renamed(VICTIMS)], [*KEPT[1:], *VICTIMS[:4]])

    parts = (found.counting, found.pending, found.between, found.own, found.content, found.unhashed, found.unknown)
    assert sum((part.files for part in parts), found.held_back.files) == found.missing.files + found.changed.files
    suffixed.story.seen.append(found)
    verdicts = [row.verdict for row in suffixed.story.rows().values()]
    assert verdicts.count(RowVerdict.HELD_BACK) == 4


def test_without_a_change_that_stands_nothing_is_held_back(tmp_path: Path) -> None:
    story = Story(folder=tmp_path)
    story.audit(LAST_NIGHT, FORMER, FORMER)

    found = story.audit(NOW, [*KEPT, *renamed(VICTIMS)], FORMER)

    assert found.held_back == Tally()
    assert found.former is None


def test_rows_that_are_no_such_rows_are_refused(tmp_path: Path) -> None:
    story = Story(folder=tmp_path)
    story.audit(NOW, FORMER, KEPT)
    relation = story.seen[-1].relation
    with open_engine(story.memory, tmp_path) as engine:
        define_types(engine)
        with pytest.raises(ComparisonError, match="does not hold what went"):
            load_fallen(engine, relation)


def put_back(victims: Iterable[Row]) -> list[Row]:
    """Other content of the same size, with a time that lies before what was there."""
    return [replace(row, mtime_ns=row.mtime_ns - DAY_NS, ctime_ns=to_ns(NOW - 9 * DAY - HOUR)) for row in victims]


def timeless(rows: Iterable[Row], written: timedelta, ctime: timedelta | None = None) -> list[Row]:
    """A copy that bears the time of copying instead of its files' own."""
    return [a_file(row.path, written, size=row.size, ctime=ctime) for row in rows]


@pytest.mark.parametrize(
    ("copy", "former", "unclear"),
    [
        (timeless(FORMER, 20 * DAY), 10, 0),  # nobody has written to it since
        (timeless(FORMER, 8 * DAY), 0, 0),  # copied anew after it
        (timeless(FORMER, 9 * DAY + HOUR), 0, 10),  # copied in the night of it
        (timeless(FORMER, 20 * DAY, ctime=8 * DAY), 0, 10),  # given other permissions after it
        ([replace(row, ctime_ns=None) for row in timeless(FORMER, 20 * DAY)], 0, 10),
    ],
)
def test_a_copy_without_times_has_taken_over_only_what_was_written_after_the_change(
    in_place: Fallen, copy: list[Row], former: int, unclear: int
) -> None:
    found = in_place.compared([*KEPT, *put_back(VICTIMS)], copy)

    assert found.mode.by_size
    assert found.former == Tally(files=former, bytes=200 * former)
    assert found.former_unclear == Tally(files=unclear, bytes=200 * unclear)


def test_a_copy_with_times_that_bears_the_new_ones_has_taken_it_over(in_place: Fallen) -> None:
    found = in_place.compared([*KEPT, *put_back(VICTIMS)], [*KEPT, *put_back(VICTIMS)])

    assert found.former == found.former_unclear == Tally()


def test_of_rows_that_do_not_say_when_nothing_is_claimed(in_place: Fallen, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(taken_over, "described", lambda _: {"schema": FALLEN_SCHEMA_NAME})
    found = in_place.compared([*KEPT, *put_back(VICTIMS)], timeless(FORMER, 20 * DAY))

    assert (found.former, found.former_unclear.files) == (Tally(), 10)


def test_a_whole_night_is_not_needed_for_it(suffixed: Fallen) -> None:
    found = suffixed.compared([*KEPT, *renamed(VICTIMS)], FORMER, age=LONG_AGO + timedelta(hours=1))

    assert found.held_back.files == 10

"""What no copy with valid evidence holds."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from coverage_audit.comparison.exposure import exposure
from coverage_audit.errors import ComparisonError
from coverage_audit.evidence.difference import Exposure
from coverage_audit.evidence.manifest import Manifest, Row
from tests.builders.manifests import STARTED as NOW
from tests.builders.manifests import a_folder
from tests.builders.stories import DAY, HOUR, LAST_NIGHT, YEARS, Story, a_file, old_files


class Copies:
    """One original and its copies, each with its own history, audited at the same moments."""

    def __init__(self, folder: Path, count: int, leave_out: tuple[tuple[str, ...], ...] = ((), (), ())) -> None:
        self.leave_out = leave_out
        self.stories = [Story(folder=folder / str(number)) for number in range(count)]
        for story in self.stories:
            story.folder.mkdir()
        self.original: Manifest | None = None

    def audit(self, now: object, original: list[Row], *copies: list[Row], blind: bytes | None = None) -> None:
        self.original = self.stories[0].manifest(original, now)  # type: ignore[arg-type]  # a datetime
        for number, (story, copy) in enumerate(zip(self.stories, copies, strict=True)):
            places = [blind] if blind is not None and number == 0 else []
            story.audit(now, self.original, copy, blind_copy=places, leave_out=self.leave_out[number])  # type: ignore[arg-type]  # likewise

    def exposed(self, leave_out: tuple[str, ...] = ()) -> Exposure:
        assert self.original is not None
        relations = [story.seen[-1].relation for story in self.stories]
        return exposure(
            self.original,
            [relation for relation in relations if relation is not None],
            leave_out=leave_out,
            work=self.stories[0].work,
        )


def test_two_copies_that_complement_each_other_expose_nothing(tmp_path: Path) -> None:
    files = old_files()
    copies = Copies(tmp_path, 2)

    copies.audit(NOW, files, files[:5], files[5:])

    assert copies.exposed() == Exposure(files=0, bytes=0, since=None)


def test_what_both_copies_lack_is_exposed_since_the_last_of_them_lacks_it(tmp_path: Path) -> None:
    files, new, log = old_files(), a_file(b"new", HOUR, size=7), a_file(b"log", HOUR, size=900)
    of_last_night, of_three_nights = a_file(b"log", 25 * HOUR, size=800), a_file(b"log", 3 * DAY, size=700)
    copies = Copies(tmp_path, 2)
    copies.audit(LAST_NIGHT, [*files, of_last_night], [*files, of_last_night], [*files, of_three_nights])

    copies.audit(NOW, [*files, new, log], [*files, of_last_night], [*files, of_three_nights])

    found = copies.exposed()
    assert (found.files, found.bytes) == (2, 907)
    assert found.since == LAST_NIGHT
    assert [sample.path for sample in found.samples] == [b"log", b"new"]


def test_a_file_that_the_only_copy_lost_is_exposed_since_it_was_last_seen_held(tmp_path: Path) -> None:
    copies = Copies(tmp_path, 1)
    copies.audit(LAST_NIGHT, old_files(), old_files())

    copies.audit(NOW, old_files(), old_files()[1:])

    assert copies.exposed().since == LAST_NIGHT


def test_what_could_not_be_seen_in_a_copy_is_not_held_by_it(tmp_path: Path) -> None:
    files = [a_folder(b"dark"), a_file(b"dark/sheet", YEARS), *old_files()]
    copies = Copies(tmp_path, 1)

    copies.audit(NOW, files, [a_folder(b"dark"), *old_files()], blind=b"dark")

    assert copies.exposed().files == 1


def test_content_that_was_never_hashed_is_not_held(tmp_path: Path) -> None:
    sheet = a_file(b"sheet", YEARS)
    copies = Copies(tmp_path, 1)

    copies.audit(NOW, [*old_files(), sheet], [*old_files(), a_file(b"sheet", DAY)])

    assert copies.stories[0].seen[-1].unhashed.files == 1
    assert copies.exposed().files == 1


def test_without_any_copy_all_is_exposed_but_what_the_dataset_leaves_out(tmp_path: Path) -> None:
    original = Story(folder=tmp_path).manifest([*old_files(), a_folder(b"d"), a_file(b"d/x.tmp", HOUR)], NOW)

    found = exposure(original, [], leave_out=["*.tmp"], work=Story(folder=tmp_path).work)

    assert (found.files, found.bytes, found.since) == (12, 1200, None)
    assert len(found.samples) == 12


def test_what_a_copy_leaves_out_by_its_own_patterns_is_not_held_by_it(tmp_path: Path) -> None:
    files = [*old_files(), a_file(b"raw/a", YEARS, size=5), a_file(b"scratch.tmp", YEARS)]
    copies = Copies(tmp_path, 2, leave_out=(("*.tmp", "raw/"), ("*.tmp",)))

    copies.audit(NOW, files, old_files(), old_files())

    found = copies.exposed(("*.tmp",))
    assert (found.files, found.bytes) == (1, 5)
    assert [sample.path for sample in found.samples] == [b"raw/a"]


def test_what_the_other_copy_holds_although_one_leaves_it_out_is_not_exposed(tmp_path: Path) -> None:
    raw = a_file(b"raw/a", YEARS)
    copies = Copies(tmp_path, 2, leave_out=(("raw/",), ()))

    copies.audit(NOW, [*old_files(), raw], old_files(), [*old_files(), raw])

    assert copies.exposed().files == 0


def test_a_relation_of_another_listing_is_refused(tmp_path: Path) -> None:
    copies = Copies(tmp_path, 1)
    copies.audit(LAST_NIGHT, old_files(), old_files())
    copies.original = copies.stories[0].manifest([*old_files(), a_file(b"new", HOUR)], NOW)

    with pytest.raises(ComparisonError, match="not of the listing"):
        copies.exposed()


def test_a_relation_that_is_gone_is_no_clean_answer(tmp_path: Path) -> None:
    copies = Copies(tmp_path, 1)
    copies.audit(NOW, old_files(), old_files())
    story = copies.stories[0]
    story.seen[-1] = replace(story.seen[-1], relation=tmp_path / "gone.parquet")

    with pytest.raises(ComparisonError, match=r"gone\.parquet"):
        copies.exposed()


def test_the_largest_and_the_oldest_that_nobody_holds_are_named(tmp_path: Path) -> None:
    old = [a_file(b"deed-%d" % number, YEARS + number * DAY, size=number) for number in range(8)]
    large = [a_file(b"take-%d" % number, HOUR, size=10**6 + number) for number in range(30)]
    copies = Copies(tmp_path, 1)

    copies.audit(NOW, [*old, *large], [])

    found = copies.exposed()
    assert [sample.path for sample in found.samples[:2]] == [b"take-29", b"take-28"]
    assert not {sample.path for sample in found.samples} & {row.path for row in old}
    assert [sample.path for sample in found.oldest] == [b"deed-7", b"deed-6", b"deed-5", b"deed-4", b"deed-3"]

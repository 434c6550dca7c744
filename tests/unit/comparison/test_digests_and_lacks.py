"""What digests decide, what a listing that lacks something can still tell, and what is hollow."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

import pytest

from coverage_audit.comparison.carry import carry
from coverage_audit.comparison.compare import match
from coverage_audit.comparison.exposure import exposure
from coverage_audit.comparison.rows import differing_rows
from coverage_audit.comparison.types import Earlier, Matched, Workspace
from coverage_audit.evidence.collected import SecondLook
from coverage_audit.evidence.difference import CopyComparison, RowClass, RowVerdict, Sight, Tally
from coverage_audit.evidence.manifest import Kind, Manifest, Row
from tests.builders.manifests import MEMORY, MTIME, SEED, STARTED, a_folder, a_link, a_manifest, a_row

DAY = timedelta(days=1)
MIB = 1 << 20
ONE, TWO = b"\x01" * 32, b"\x02" * 32


def compared(folder: Path, original: Sequence[Row], copy: Sequence[Row], **origin: Any) -> Matched:
    """Match two trees; `origin` is of the copy, both have SHA-256 digests unless said otherwise."""
    mine = a_manifest(folder, original, digest=origin.pop("original_digest", "sha256"))
    return matched_of(folder, mine, a_manifest(folder, copy, **{"digest": "sha256", **origin}))


def matched_of(folder: Path, original: Manifest, copy: Manifest) -> Matched:
    return match(original, copy, leave_out=(), work=Workspace(folder=folder, memory=MEMORY, seed=SEED))


def classes(matched: Matched) -> dict[bytes, RowClass]:
    return {row.path: row.row_class for row in differing_rows(matched.relation)}


def carried(matched: Matched, now: datetime = STARTED, earlier: Earlier | None = None) -> CopyComparison:
    work = Workspace(folder=matched.relation.parent, memory=MEMORY, seed=SEED)
    return carry(matched, earlier, now=now, look=None, max_age=DAY, work=work)


def test_equal_digests_hold_a_file_whatever_its_time_and_that_is_said(tmp_path: Path) -> None:
    original = [a_row(b"a", digest=ONE), a_row(b"b", digest=ONE)]
    copy = [a_row(b"a", digest=ONE, mtime_ns=MTIME + 5), a_row(b"b", digest=ONE)]

    matched = compared(tmp_path, original, copy)

    assert classes(matched) == {}
    assert [(seen.sight, seen.entries) for seen in matched.sights] == [(Sight.RETIMED, 1)]


def test_different_digests_at_one_size_and_time_are_damage(tmp_path: Path) -> None:
    original = [a_row(b"bent", digest=ONE), a_row(b"whole", digest=ONE)]

    matched = compared(tmp_path, original, [a_row(b"bent", digest=TWO), a_row(b"whole", digest=ONE)])
    found = carried(matched)

    assert classes(matched) == {b"bent": RowClass.CONTENT}
    assert matched.content == found.content == Tally(files=1, bytes=100)
    assert [row.verdict for row in found.samples] == [RowVerdict.CONTENT]


def test_damage_stays_damage_at_the_next_audit(tmp_path: Path) -> None:
    pair = (tmp_path, [a_row(b"bent", digest=ONE)], [a_row(b"bent", digest=TWO)])
    first = carried(compared(*pair))
    earlier = Earlier(at=STARTED, originals=(), relation=first.relation)

    assert carried(compared(*pair), STARTED + DAY, earlier).content == Tally(files=1, bytes=100)


def test_different_digests_under_another_time_are_an_ordinary_change(tmp_path: Path) -> None:
    copy = [a_row(b"older", digest=TWO, mtime_ns=MTIME - 5), a_row(b"newer", digest=TWO, mtime_ns=MTIME + 5)]

    matched = compared(tmp_path, [a_row(b"older", digest=ONE), a_row(b"newer", digest=ONE)], copy)
    found = carried(matched)

    assert classes(matched) == {b"older": RowClass.OLDER, b"newer": RowClass.NEWER}
    assert (found.content, found.unhashed) == (Tally(), Tally())  # hashed: nothing is "unverified until hashed"
    assert found.counting.files + found.pending.files + found.between.files == 2


def test_a_newer_file_of_one_size_without_digests_is_unverified(tmp_path: Path) -> None:
    matched = compared(tmp_path, [a_row(b"newer", digest=ONE)], [a_row(b"newer", mtime_ns=MTIME + 5)])

    assert carried(matched).unhashed == Tally(files=1, bytes=100)


@pytest.mark.parametrize("algorithm", ["md5", None])
def test_digests_of_another_algorithm_decide_nothing(tmp_path: Path, algorithm: str | None) -> None:
    matched = compared(tmp_path, [a_row(b"a", digest=ONE)], [a_row(b"a", digest=TWO)], digest=algorithm)

    assert classes(matched) == {}
    said = carried(matched).not_compared
    assert said == (("digests: they are sha256 of the original and md5 of the copy",) if algorithm else ())


def test_equal_digests_of_unequal_sizes_hold_nothing(tmp_path: Path) -> None:
    """Evidence that contradicts itself proves nothing."""
    assert classes(compared(tmp_path, [a_row(b"a", digest=ONE)], [a_row(b"a", size=7, digest=ONE)])) == {
        b"a": RowClass.OTHER
    }


def without_times(rows: Sequence[Row]) -> list[Row]:
    return [replace(row, mtime_ns=0, ctime_ns=None) for row in rows]


def test_a_listing_without_times_is_compared_by_size_and_digest(tmp_path: Path) -> None:
    original = [a_row(b"same", digest=ONE), a_row(b"bent", digest=ONE), a_row(b"longer", digest=ONE)]
    copy = without_times([a_row(b"same", digest=ONE), a_row(b"bent", digest=TWO), a_row(b"longer", size=7, digest=TWO)])

    matched = compared(tmp_path, original, copy, lacks=frozenset({"mtime", "ctime"}))
    found = carried(matched)

    assert classes(matched) == {b"bent": RowClass.OTHER, b"longer": RowClass.OTHER}
    assert found.unproven == Tally()
    assert found.not_compared == ("times, which the copy's listing does not hold",)


def test_without_times_and_digests_a_file_is_held_by_size_and_unproven(tmp_path: Path) -> None:
    original = [a_row(b"a"), a_row(b"b", size=7), a_row(b"empty", size=0)]
    copy = without_times([a_row(b"a"), a_row(b"b", size=8), a_row(b"empty", size=0)])

    matched = compared(tmp_path, original, copy, lacks=frozenset({"mtime"}))

    assert classes(matched) == {b"b": RowClass.OTHER}
    assert matched.unproven == Tally(files=1, bytes=100)  # of an empty file the size is all there is


def test_equal_listings_without_times_on_either_side_prove_nothing_unread(tmp_path: Path) -> None:
    rows = without_times([a_row(b"%05d" % number) for number in range(3000)])
    lacking = frozenset({"mtime"})
    original, copy = (a_manifest(tmp_path, rows, lacks=lacking) for _ in range(2))

    matched = matched_of(tmp_path, original, copy)

    assert matched.unproven.files == 3000
    assert carried(matched).not_compared == ("times, which either listing does not hold",)


def test_without_sizes_digests_decide_and_without_both_nothing_is_proven(tmp_path: Path) -> None:
    names = (b"same", b"bent", b"unhashed")
    original = [a_row(name, digest=ONE) for name in names]
    copy = [
        a_row(name, size=0, mtime_ns=0, digest=digest) for name, digest in zip(names, (ONE, TWO, None), strict=True)
    ]

    matched = compared(tmp_path, original, copy, lacks=frozenset({"mtime", "size"}))

    assert classes(matched) == {b"bent": RowClass.OTHER}
    assert matched.unproven == Tally(files=1, bytes=100)


def test_without_sizes_a_time_alone_proves_no_content(tmp_path: Path) -> None:
    matched = compared(tmp_path, [a_row(b"a")], [a_row(b"a", size=0)], lacks=frozenset({"size"}))

    assert (classes(matched), matched.unproven.files) == ({}, 1)


def test_a_listing_of_files_alone_lacks_no_folder_and_proves_no_link(tmp_path: Path) -> None:
    original = [
        a_folder(b"d"),
        a_row(b"d/a", digest=ONE),
        a_link(b"l", b"d/a"),
        a_link(b"followed", b"d/a"),
        a_row(b"pipe", kind=Kind.OTHER, size=0),
    ]
    copy = without_times([a_row(b"d/a", digest=ONE), a_row(b"followed", digest=ONE)])

    matched = compared(tmp_path, original, copy, lacks=frozenset({"mtime", "kinds", "targets"}))

    assert classes(matched) == {}
    assert matched.folders_missing == 0
    assert matched.unproven.files == 3  # the link, the pipe, and "followed": a link or a file, of whatever content


def test_folders_that_only_the_copy_lists_are_no_extras(tmp_path: Path) -> None:
    original = a_manifest(tmp_path, without_times([a_row(b"d/a")]), lacks=frozenset({"mtime", "kinds"}))
    copy = a_manifest(tmp_path, [a_folder(b"d"), a_row(b"d/a"), a_link(b"l", b"x"), a_row(b"own")])

    assert classes(matched_of(tmp_path, original, copy)) == {b"own": RowClass.EXTRA}


def test_links_whose_targets_are_not_listed_count_by_being_there_which_proves_nothing(tmp_path: Path) -> None:
    copy = [replace(a_link(b"l", b"here"), target=None)]
    original = a_manifest(tmp_path, [a_link(b"l", b"here"), a_link(b"gone", b"here")])

    matched = matched_of(tmp_path, original, a_manifest(tmp_path, copy, lacks=frozenset({"targets"})))

    assert classes(matched) == {b"gone": RowClass.MISSING}
    assert matched.unproven == Tally(files=1)


def test_links_in_equal_groups_prove_nothing_where_neither_listing_shows_their_targets(tmp_path: Path) -> None:
    rows = [a_row(b"a"), replace(a_link(b"l", b"here"), target=None)]
    original, copy = (a_manifest(tmp_path, rows, lacks=frozenset({"targets"})) for _ in range(2))

    assert matched_of(tmp_path, original, copy).unproven.files == 1


def test_a_link_in_the_place_of_a_file_proves_nothing_where_the_original_lists_files_alone(tmp_path: Path) -> None:
    """A copy made of links to the original lists every name, and holds nothing."""
    original = a_manifest(tmp_path, without_times([a_row(b"a", digest=ONE)]), lacks=frozenset({"mtime", "kinds"}))
    copy = a_manifest(tmp_path, [a_link(b"a", b"/srv/main/recordings/a")])

    assert matched_of(tmp_path, original, copy).unproven.files == 1


def test_a_listing_that_lost_its_digests_shows_no_change_in_the_copy(tmp_path: Path) -> None:
    """Held by digest under another time yesterday, listed without digests today: nothing changed on its own."""
    original, copy = [a_row(b"a", digest=ONE)], [a_row(b"a", digest=ONE, mtime_ns=MTIME + 5)]
    mine = a_manifest(tmp_path, original, digest="sha256")
    first = carried(matched_of(tmp_path, mine, a_manifest(tmp_path, copy, digest="sha256")))
    earlier = Earlier(at=STARTED, originals=((STARTED, mine.file),), relation=first.relation)
    later: dict[str, Any] = {"started": STARTED + DAY}
    bare = [replace(row, digest=None) for row in copy]

    today = matched_of(tmp_path, a_manifest(tmp_path, original, **later), a_manifest(tmp_path, bare, **later))
    found = carried(today, STARTED + DAY, earlier)

    assert (found.own, found.unhashed.files) == (Tally(), 1)


def nights_without_times(folder: Path, now: Row, held: Row) -> CopyComparison:
    """Held by digest yesterday, `now` in the original today while the copy still holds `held`."""
    lacking: dict[str, Any] = {"lacks": frozenset({"mtime", "ctime"}), "digest": "sha256"}
    mine = a_manifest(folder, [replace(now, digest=ONE, mtime_ns=MTIME)], digest="sha256")
    first = carried(matched_of(folder, mine, a_manifest(folder, without_times([held]), **lacking)))
    assert first.same.files == 1
    earlier = Earlier(at=STARTED, originals=((STARTED, mine.file),), relation=first.relation)
    started = STARTED + DAY / 2
    today = matched_of(
        folder,
        a_manifest(folder, [now], digest="sha256", started=started),
        a_manifest(folder, without_times([held]), started=started, **lacking),
    )
    return carried(today, started + timedelta(hours=1), earlier)


def test_what_the_original_changed_since_is_pending_where_the_copy_shows_no_times(tmp_path: Path) -> None:
    edited = a_row(b"a", digest=TWO, mtime_ns=MTIME + 20 * DAY // timedelta(microseconds=1) * 1000)

    found = nights_without_times(tmp_path, edited, a_row(b"a", digest=ONE))

    assert (found.pending.files, found.went_back.files, found.own.files) == (1, 0, 0)


def test_a_copy_that_is_hollow_where_the_original_is_not_is_unverified(tmp_path: Path) -> None:
    original = [
        a_row(b"a", size=MIB, blocks=2048),
        a_row(b"b", size=MIB, blocks=2048),
        a_row(b"s", size=MIB, blocks=80),
    ]
    copy = [replace(original[0], blocks=0), original[1], replace(original[2], blocks=8)]

    matched = compared(tmp_path, original, copy)
    found = carried(matched)

    assert classes(matched) == {b"a": RowClass.HOLLOW}
    assert found.hollow == found.unhashed == Tally(files=1, bytes=MIB)


def test_a_sparse_file_that_takes_up_nothing_in_the_copy_is_unverified(tmp_path: Path) -> None:
    """An image of which a tenth is written, and of which the copy was stretched to its size and never filled."""
    original = [a_row(b"image", size=MIB, blocks=200), a_row(b"void", size=MIB, blocks=0)]

    matched = compared(tmp_path, original, [replace(row, blocks=0) for row in original])

    assert classes(matched) == {b"image": RowClass.HOLLOW}


def test_hollow_files_in_groups_that_are_equal_are_still_looked_at(tmp_path: Path) -> None:
    original = [a_row(b"%06d" % number, size=MIB, blocks=2048) for number in range(30_000)]
    copy = [replace(row, blocks=0 if row.path == b"012345" else 2048) for row in original]

    assert classes(compared(tmp_path, original, copy)) == {b"012345": RowClass.HOLLOW}


def test_a_digest_proves_content_however_hollow_the_file(tmp_path: Path) -> None:
    original = [a_row(b"a", size=MIB, blocks=2048, digest=ONE)]

    assert classes(compared(tmp_path, original, [replace(original[0], blocks=0)])) == {}


def test_what_the_original_does_not_show_does_not_excuse_a_hollow_copy(tmp_path: Path) -> None:
    matched = compared(tmp_path, [a_row(b"a", size=MIB)], [a_row(b"a", size=MIB, blocks=0)])

    assert classes(matched) == {b"a": RowClass.HOLLOW}


def test_where_compression_is_counted_only_what_takes_up_nothing_is_hollow(tmp_path: Path) -> None:
    """A log that is stored in a twentieth of its size (man page zfsprops: `compression`)."""
    original = [a_row(b"log", size=MIB, blocks=2048), a_row(b"void", size=MIB, blocks=2048)]
    copy = [replace(original[0], blocks=100), replace(original[1], blocks=1)]

    assert classes(compared(tmp_path, original, copy, filesystem_type="zfs")) == {b"void": RowClass.HOLLOW}


def test_a_copy_that_proves_no_content_exposes_what_it_holds_by_size(tmp_path: Path) -> None:
    original = a_manifest(tmp_path, [a_row(b"a")])
    weak = matched_of(
        tmp_path, original, a_manifest(tmp_path, without_times([a_row(b"a")]), lacks=frozenset({"mtime"}))
    )
    whole = matched_of(tmp_path, original, a_manifest(tmp_path, [a_row(b"a")]))
    work = Workspace(folder=tmp_path, memory=MEMORY, seed=SEED)

    exposed = [exposure(original, [carried(one).relation or Path()], leave_out=(), work=work) for one in (weak, whole)]

    assert [one.files for one in exposed] == [1, 0]


def written_again() -> tuple[list[Row], list[Row]]:
    """Ten files of one size whose times the copy does not keep; of "bent", digests show another content there."""
    original = [a_row(b"%02d" % number, digest=ONE) for number in range(9)] + [a_row(b"bent", digest=ONE)]
    copy = [replace(row, mtime_ns=MTIME + 3 * 10**9 + number) for number, row in enumerate(original)]
    return original, [*copy[:-1], replace(copy[-1], digest=TWO)]


def test_a_second_look_at_what_did_not_change_excuses_no_other_content(tmp_path: Path) -> None:
    """By size and time alone the copy would hold it: digests overrule that, at the second look too."""
    matched = compared(tmp_path, *written_again())
    assert matched.mode.by_size

    def look(paths: tuple[bytes, ...]) -> tuple[SecondLook, ...]:
        return tuple(SecondLook(path=path, size=100, mtime_ns=MTIME, ctime_ns=MTIME, birth_ns=None) for path in paths)

    work = Workspace(folder=tmp_path, memory=MEMORY, seed=SEED)
    found = carry(matched, None, now=STARTED, look=look, max_age=DAY, work=work)

    assert (found.same.files, found.changed.files) == (9, 1)


def test_other_content_is_not_pending_because_it_was_held_by_its_size_before_it_was_hashed(tmp_path: Path) -> None:
    original, copy = written_again()
    bare = [[replace(row, digest=None) for row in rows] for rows in (original, copy)]
    mine = a_manifest(tmp_path, bare[0])
    first = carried(matched_of(tmp_path, mine, a_manifest(tmp_path, bare[1])))
    earlier = Earlier(at=STARTED, originals=((STARTED, mine.file),), relation=first.relation)
    started = STARTED + DAY / 2
    hashed = [a_manifest(tmp_path, rows, digest="sha256", started=started) for rows in (original, copy)]

    found = carried(matched_of(tmp_path, hashed[0], hashed[1]), started + timedelta(hours=1), earlier)

    assert (found.pending.files, found.counting.files) == (0, 1)


@pytest.mark.parametrize(("digest", "unhashed"), [(TWO, 0), (None, 1)])
def test_what_was_missing_and_arrived_newer_is_unverified_only_until_it_is_hashed(
    tmp_path: Path, digest: bytes | None, unhashed: int
) -> None:
    held = [a_row(b"%02d" % number, digest=ONE) for number in range(9)]
    original = [*held, a_row(b"bent", digest=ONE)]
    mine = a_manifest(tmp_path, original, digest="sha256")
    first = carried(matched_of(tmp_path, mine, a_manifest(tmp_path, held, digest="sha256")))
    assert first.missing.files == 1
    earlier = Earlier(at=STARTED, originals=((STARTED, mine.file),), relation=first.relation)
    started = STARTED + DAY
    arrived = a_row(b"bent", digest=digest, mtime_ns=MTIME + 5)
    today = matched_of(
        tmp_path,
        a_manifest(tmp_path, original, digest="sha256", started=started),
        a_manifest(tmp_path, [*held, arrived], digest="sha256", started=started),
    )

    found = carried(today, started, earlier)

    assert (found.unhashed.files, found.counting.files) == (unhashed, 1 - unhashed)


def test_what_was_unverified_until_it_is_hashed_is_told_once_it_is(tmp_path: Path) -> None:
    original = [a_row(b"%02d" % number, digest=ONE) for number in range(10)]
    copy = [*original[:-1], replace(original[-1], digest=TWO, mtime_ns=MTIME + 5)]
    bare = [[replace(row, digest=None) for row in rows] for rows in (original, copy)]
    mine = a_manifest(tmp_path, bare[0])
    first = carried(matched_of(tmp_path, mine, a_manifest(tmp_path, bare[1])))
    assert first.unhashed.files == 1
    earlier = Earlier(at=STARTED, originals=((STARTED, mine.file),), relation=first.relation)
    hashed = [a_manifest(tmp_path, rows, digest="sha256", started=STARTED + DAY) for rows in (original, copy)]

    found = carried(matched_of(tmp_path, hashed[0], hashed[1]), STARTED + DAY, earlier)

    assert (found.unhashed.files, found.counting.files) == (0, 1)


def test_what_came_to_both_sides_since_the_last_listing_with_other_content_is_told_and_not_unverified(
    tmp_path: Path,
) -> None:
    held = [a_row(b"%02d" % number, digest=ONE) for number in range(9)]
    mine = a_manifest(tmp_path, held, digest="sha256")
    first = carried(matched_of(tmp_path, mine, a_manifest(tmp_path, held, digest="sha256")))
    earlier = Earlier(at=STARTED, originals=((STARTED, mine.file),), relation=first.relation)
    later: dict[str, Any] = {"digest": "sha256", "started": STARTED + DAY}
    new = a_row(b"new", digest=ONE)
    copy = [*held, replace(new, digest=TWO, mtime_ns=MTIME + 5)]

    today = matched_of(tmp_path, a_manifest(tmp_path, [*held, new], **later), a_manifest(tmp_path, copy, **later))

    assert carried(today, STARTED + DAY, earlier).unhashed.files == 0

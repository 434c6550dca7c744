"""The sums of a survey: nothing is lost, nothing counted twice, and declaring more leaves no more unclaimed."""

from __future__ import annotations

import tempfile
from pathlib import Path

from hypothesis import given, settings
from hypothesis import strategies as st

from coverage_audit.comparison.declared import Declared
from coverage_audit.comparison.folder_sizes import FolderSizes, folder_sizes
from coverage_audit.comparison.leaving_out import LeavingOut
from coverage_audit.evidence.manifest import Blind, Row
from coverage_audit.evidence.surveyed import Holder, Share
from coverage_audit.reckoning.claims import AnyPoint, Claim, Claims
from coverage_audit.reckoning.folder_tree import tree_of, unclaimed_in
from tests.builders.manifests import a_manifest, a_row

NAMES = st.sampled_from([b"a", b"b", b"c\n", b"\xff", b"x.tmp", b"2026-11-25"])
PATHS = st.lists(NAMES, min_size=1, max_size=6).map(b"/".join)
TREES = st.dictionaries(PATHS, st.integers(0, 2**40), max_size=30)
PARTS = st.lists(NAMES | st.just(AnyPoint(pattern="%Y-%m-%d")), max_size=4).map(tuple)
CLAIMS = st.lists(PARTS, max_size=4)


def rows_of(tree: dict[bytes, int]) -> list[Row]:
    """Files at the paths that lie below no other file."""
    inner = {path[:end] for path in tree for end in range(len(path)) if path[end : end + 1] == b"/"}
    return [a_row(path, size=size) for path, size in tree.items() if path not in inner]


def sized(rows: list[Row], claims: list[tuple[bytes | AnyPoint, ...]], depth: int, most: int = 1000) -> FolderSizes:
    held = [Claim(parts=parts, holder=Holder(share=Share.CLAIMED, name=str(n))) for n, parts in enumerate(claims)]
    declared = Declared(
        claims=Claims(held),
        leaving=LeavingOut(["*.tmp"]),
        left_to=(Holder(share=Share.NOT_KEPT, name="*.tmp", who="Aoife", why="scratch"),),
        mark="",
    )
    with tempfile.TemporaryDirectory() as folder:
        return folder_sizes(a_manifest(Path(folder), rows), declared, depth, most_cells=most)


def unclaimed(sizes: FolderSizes) -> int:
    return sum(cell.tally.bytes for cell in sizes.cells if cell.holder.share is Share.UNCLAIMED)


@settings(max_examples=60, deadline=None)
@given(TREES, CLAIMS, st.integers(1, 5), st.sampled_from([1, 3, 1000]))
def test_claimed_unclaimed_and_not_kept_add_up_to_all_that_there_is(
    tree: dict[bytes, int], claims: list[tuple[bytes | AnyPoint, ...]], depth: int, most: int
) -> None:
    rows = rows_of(tree)
    sizes = sized(rows, claims, depth, most)
    assert sum(cell.tally.bytes for cell in sizes.cells) == sum(row.size for row in rows)
    assert sum(cell.tally.files for cell in sizes.cells) == len(rows)
    assert all(len(cell.folder.split(b"/")) <= sizes.depth for cell in sizes.cells)


@settings(max_examples=60, deadline=None)
@given(TREES, CLAIMS, PARTS, st.integers(1, 5))
def test_one_more_dataset_never_leaves_more_unclaimed(
    tree: dict[bytes, int],
    claims: list[tuple[bytes | AnyPoint, ...]],
    more: tuple[bytes | AnyPoint, ...],
    depth: int,
) -> None:
    rows = rows_of(tree)
    assert unclaimed(sized(rows, [*claims, more], depth)) <= unclaimed(sized(rows, claims, depth))


@settings(max_examples=60, deadline=None)
@given(TREES, CLAIMS, st.integers(1, 5))
def test_every_file_is_claimed_exactly_as_its_path_says(
    tree: dict[bytes, int], claims: list[tuple[bytes | AnyPoint, ...]], depth: int
) -> None:
    rows = rows_of(tree)

    def is_claimed(path: bytes) -> bool:
        parts = path.split(b"/")
        return any(
            len(claim) <= len(parts)
            and all(p.matches(n) if isinstance(p, AnyPoint) else p == n for p, n in zip(claim, parts, strict=False))
            for claim in claims
        )

    found = sum(cell.tally.bytes for cell in sized(rows, claims, depth).cells if cell.holder.share is Share.CLAIMED)
    assert found == sum(row.size for row in rows if is_claimed(row.path))


@settings(max_examples=60, deadline=None)
@given(TREES, CLAIMS, st.integers(1, 5))
def test_the_unclaimed_folders_add_up_to_what_is_unclaimed_and_hold_nothing_claimed(
    tree: dict[bytes, int], claims: list[tuple[bytes | AnyPoint, ...]], depth: int
) -> None:
    cells = sized(rows_of(tree), claims, depth).cells
    folders = unclaimed_in(tree_of(cells))
    assert sum(one.tally.bytes for one in folders) == sum(
        cell.tally.bytes for cell in cells if cell.holder.share is Share.UNCLAIMED
    )
    for one in folders:
        inside = [cell for cell in cells if (cell.folder + b"/").startswith(one.folder + b"/")]
        assert one.loose or not any(cell.holder.share is Share.CLAIMED for cell in inside)


def test_a_file_of_several_names_counts_once_over_all_of_them() -> None:
    rows = [a_row(b"a/one", size=3000, links=3), a_row(b"b/two", size=3000, links=3), a_row(b"c", size=3000, links=3)]
    cells = sized(rows, [], 4).cells
    assert sum(cell.tally.bytes for cell in cells) == 3000
    assert [cell.tally.bytes for cell in cells] == [1000, 1000, 1000]


def test_a_file_that_is_itself_a_claim_is_told_from_its_neighbours() -> None:
    claims: list[tuple[bytes | AnyPoint, ...]] = [(b"dumps", AnyPoint(pattern="db-%Y%m%d.sql"))]
    rows = [a_row(b"dumps/db-20261125.sql", size=10), a_row(b"dumps/holiday.tar", size=7)]
    assert unclaimed(sized(rows, claims, 4)) == 7


def test_unreadable_places_that_are_claimed_or_litter_are_not_blind_for_the_survey() -> None:
    declared = Declared(
        claims=Claims([Claim(parts=(b"held",), holder=Holder(share=Share.CLAIMED, name="one"))]),
        leaving=LeavingOut(["lost+found/"]),
        left_to=(Holder(share=Share.LITTER, name="lost+found/"),),
        mark="",
    )
    blind = [Blind(path=path, why="denied") for path in (b"held/x", b"lost+found", b"private")]
    with tempfile.TemporaryDirectory() as folder:
        found = folder_sizes(a_manifest(Path(folder), [a_row(b"f")], blind=blind), declared, 4)
    assert [place.path for place in found.blind] == [b"private"]

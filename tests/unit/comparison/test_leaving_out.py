from __future__ import annotations

import numpy as np
import pyarrow as pa
import pytest
from hypothesis import given
from hypothesis import strategies as st

from coverage_audit.comparison.leaving_out import KEPT, LeavingOut
from coverage_audit.errors import ComparisonError


def _which(patterns: list[str], path: bytes, *, is_folder: bool = False) -> int:
    return LeavingOut(patterns).which(path, is_folder=is_folder)


def test_the_last_pattern_that_matches_decides() -> None:
    assert _which(["*.tmp", "!keep.tmp", "keep.*"], b"a/keep.tmp") == 2
    assert _which(["*.tmp", "!keep.tmp"], b"a/keep.tmp") == KEPT


def test_what_lies_below_a_folder_that_is_left_out_cannot_be_taken_back_in() -> None:
    assert _which(["cache/", "!cache/notes"], b"cache/notes") == 0


def test_a_pattern_with_a_slash_at_its_end_means_folders_only() -> None:
    assert _which(["cache/"], b"cache") == KEPT
    assert _which(["cache/"], b"cache", is_folder=True) == 0
    assert _which(["cache/"], b"deep/down/cache/file") == 0


@pytest.mark.parametrize(
    ("pattern", "path"),
    [
        ("*.tmp", b"\xff\xfe.tmp"),
        ("*.tmp", b"new\nline/a.tmp"),
        ("voil\u00e0", "voil\u00e0".encode()),
        ("\udcff*", b"\xffa"),
        ("??", "\u00e0".encode()),
        ("[\\[]x", b"[x"),
    ],
)
def test_names_are_bytes(pattern: str, path: bytes) -> None:
    assert _which([pattern], path) == 0


@pytest.mark.parametrize("path", [b"a.tmp\n", b"a.tmp.old", b"a.tmpx", b"atmp"])
def test_a_name_that_only_begins_like_one_that_is_left_out_is_kept(path: bytes) -> None:
    assert _which(["*.tmp"], path) == KEPT


def test_comments_and_what_takes_back_in_leave_nothing_out() -> None:
    leaving = LeavingOut(["# *.tmp", "", "!*.tmp"])

    assert not leaving
    assert leaving.leaving() == ()


@pytest.mark.parametrize("pattern", ["! ", "\ud800"])
def test_a_pattern_without_a_meaning_is_refused(pattern: str) -> None:
    with pytest.raises(ComparisonError, match="cannot be understood"):
        LeavingOut([pattern])


def test_a_very_deep_tree_is_no_trouble() -> None:
    assert _which(["b"], b"/".join([b"a"] * 5000)) == KEPT
    assert _which(["a"], b"/".join([b"a"] * 5000)) == 0


PART = st.sampled_from([b"a", b"b.tmp", b"\xff", b"x\ny", b"-", b"A"])
PATTERN = st.sampled_from(["a", "*.tmp", "/a/", "!b.tmp", "a/**", "**/-", "[^a]", "\udcff", "x*y", "*", "!*/"])


@given(
    patterns=st.lists(PATTERN, max_size=4),
    entries=st.lists(st.tuples(st.lists(PART, min_size=1, max_size=4).map(b"/".join), st.booleans()), max_size=20),
)
def test_many_rows_at_once_are_told_as_one_by_one(patterns: list[str], entries: list[tuple[bytes, bool]]) -> None:
    leaving = LeavingOut(patterns)
    kinds = np.array([ord("d" if is_folder else "f") for _, is_folder in entries], dtype=np.uint8)

    together = leaving.which_of(pa.array([path for path, _ in entries], pa.binary()), kinds).tolist()

    assert together == [leaving.which(path, is_folder=is_folder) for path, is_folder in entries]

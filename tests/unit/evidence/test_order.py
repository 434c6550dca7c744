from __future__ import annotations

from itertools import pairwise

import pyarrow as pa
from hypothesis import given, settings
from hypothesis import strategies as st

from coverage_audit.evidence.order import are_paths, rises, tree_key, tree_keys

names = st.binary(min_size=1, max_size=4).filter(lambda name: b"/" not in name and b"\0" not in name)
paths = st.lists(names, min_size=1, max_size=4).map(b"/".join)


def test_a_folder_stands_directly_before_what_is_in_it() -> None:
    listed = [b"a", b"a.txt", b"a/x", b"a-b", b"a/x/y", b"b"]
    assert sorted(listed, key=tree_key) == [b"a", b"a/x", b"a/x/y", b"a-b", b"a.txt", b"b"]


@settings(deadline=None)
@given(st.lists(paths, max_size=20, unique=True))
def test_tree_order_is_the_order_of_lists_of_names(listed: list[bytes]) -> None:
    assert sorted(listed, key=tree_key) == sorted(listed, key=lambda path: path.split(b"/"))


@settings(deadline=None)
@given(st.lists(paths, max_size=20), st.integers(0, 3))
def test_whole_columns_get_the_same_keys_as_single_paths(listed: list[bytes], skipped: int) -> None:
    column = pa.array(listed, pa.binary()).slice(skipped)
    assert tree_keys(column).to_pylist() == [tree_key(path) for path in listed[skipped:]]


@settings(deadline=None)
@given(st.lists(paths, max_size=8))
def test_only_strictly_rising_keys_rise(listed: list[bytes]) -> None:
    keys = [tree_key(path) for path in listed]
    assert rises(pa.array(keys, pa.binary())) == all(one < other for one, other in pairwise(keys))


def test_bytes_above_127_come_after_those_below() -> None:
    assert rises(pa.array([b"~", b"\x80", b"\xff"], pa.binary()))


@settings(deadline=None)
@given(st.lists(st.binary(max_size=6), max_size=6))
def test_a_path_is_names_between_single_slashes(listed: list[bytes]) -> None:
    column = pa.array(listed, pa.binary())
    wanted = all(all(path.split(b"/")) and b"\0" not in path for path in listed)
    assert are_paths(column, tree_keys(column)) == wanted

from __future__ import annotations

from collections import Counter
from hashlib import sha256
from itertools import pairwise

from hypothesis import given
from hypothesis import strategies as st

from coverage_audit.comparison.windows import Window, equal_groups, windows
from coverage_audit.evidence.order import tree_key
from coverage_audit.evidence.store import Group


def a_group(first: bytes, rows: int = 10, content: str = "") -> Group:
    digest = sha256(first + content.encode()).digest()
    return Group(first=first, rows=rows, files=rows, bytes=0, digest=digest, ctimes_digest=digest, newest_mtime_ns=None)


def test_groups_with_the_same_rows_are_found_wherever_they_stand() -> None:
    original = [a_group(b"a"), a_group(b"b"), a_group(b"d"), a_group(b"e")]
    copy = [a_group(b"b"), a_group(b"c"), a_group(b"d", content="other"), a_group(b"e")]

    assert equal_groups(original, copy) == ((1, 0), (3, 3))


def test_equal_groups_are_read_by_nobody() -> None:
    original = [a_group(b"a"), a_group(b"b"), a_group(b"c")]
    copy = [a_group(b"a"), a_group(b"b", content="other"), a_group(b"c")]

    assert list(windows(original, copy, ((0, 0), (2, 2)), 100)) == [Window(original=(1,), copy=(1,))]


def test_small_stretches_far_apart_share_a_window() -> None:
    original = [a_group(b"%03d" % number, content="mine" if number % 10 == 0 else "") for number in range(100)]
    copy = [a_group(b"%03d" % number) for number in range(100)]
    tens = tuple(range(0, 100, 10))

    assert list(windows(original, copy, equal_groups(original, copy), 1000)) == [Window(original=tens, copy=tens)]


def test_an_empty_copy_is_gone_over_in_windows_too() -> None:
    original = [a_group(b"%03d" % number) for number in range(100)]

    found = list(windows(original, [], (), 95))

    assert [number for window in found for number in window.original] == list(range(100))
    assert max(len(window.original) for window in found) < 10
    assert not any(window.copy for window in found)


def test_windows_end_where_groups_of_both_sides_begin_if_that_is_near() -> None:
    original = [a_group(name) for name in (b"a", b"c", b"e", b"g", b"i")]
    copy = [a_group(name) for name in (b"b", b"e", b"f", b"i")]

    found = list(windows(original, copy, (), 25))

    assert found[0] == Window(original=(0, 1), copy=(0,), high=b"e")
    assert found[1].low == b"e"


def test_two_empty_trees_have_no_window() -> None:
    assert not list(windows([], [], (), 10))


PATHS = st.lists(st.sampled_from(b"abc-/."), min_size=1, max_size=3).map(bytes)
SIDE = st.lists(PATHS, max_size=30, unique_by=tree_key).map(lambda paths: sorted(paths, key=tree_key))


@given(original=SIDE, copy=SIDE, rows=st.integers(1, 60))
def test_every_place_in_the_order_lies_in_just_one_window(original: list[bytes], copy: list[bytes], rows: int) -> None:
    """Each group stands for one row, its first: it must be read once on its side, within the limits of one window."""
    sides = [[a_group(path, content=name) for path in paths] for name, paths in (("o", original), ("c", copy))]
    found = list(windows(sides[0], sides[1], (), rows))

    for groups, numbers in ((sides[0], [w.original for w in found]), (sides[1], [w.copy for w in found])):
        seen = Counter(
            number
            for window, chosen in zip(found, numbers, strict=True)
            for number in chosen
            if (window.low is None or tree_key(groups[number].first) >= tree_key(window.low))
            and (window.high is None or tree_key(groups[number].first) < tree_key(window.high))
        )
        assert seen == Counter(range(len(groups)))
    limits = [(window.low, window.high) for window in found]
    assert all(one[1] == other[0] for one, other in pairwise(limits))

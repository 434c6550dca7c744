from __future__ import annotations

from itertools import pairwise
from pathlib import Path

import numpy as np
import pyarrow as pa
from hypothesis import given, settings
from hypothesis import strategies as st

from coverage_audit.evidence.manifest import Kind
from coverage_audit.evidence.store import group_index, read_groups
from coverage_audit.evidence.store.groups import Cutter, cuts
from coverage_audit.evidence.store.layout import LEAST_ROWS, MOST_ROWS
from tests.builders.manifests import DAY_NS, MTIME, a_folder, a_link, a_manifest, a_row


def some_keys(seed: int, rows: int, every: int) -> np.ndarray:
    """Keys of which about one in `every` begins a group."""
    draw = np.random.default_rng(seed)
    return np.where(draw.integers(0, every, rows) == 0, 0, draw.integers(1, 8192, rows)).astype(np.uint64)


@settings(deadline=None, max_examples=30)
@given(st.integers(0, 99), st.integers(0, 200_000), st.sampled_from([50, 1000, 8192, 10**6]), st.integers(500, 50_000))
def test_cuts_do_not_depend_on_how_the_rows_come(seed: int, rows: int, every: int, step: int) -> None:
    keys = some_keys(seed, rows, every)
    cutter = Cutter()
    lengths = []
    for start in range(0, rows, step):
        lengths += [len(group) for group in cutter.push(pa.table({"key_lo": keys[start : start + step]}))]
    lengths += [len(group) for group in cutter.rest()]
    ends = [*cuts(keys), *([rows] if rows else [])]
    assert lengths == [end - start for start, end in pairwise(sorted({0, *ends}))]
    assert all(LEAST_ROWS <= length <= MOST_ROWS for length in lengths[:-1])


def test_after_an_insert_the_cuts_fall_on_the_same_rows_again() -> None:
    keys = some_keys(7, 100_000, 8192)
    longer = np.concatenate((keys[:500], [1, 1, 1], keys[500:])).astype(np.uint64)
    before, after = cuts(keys), [end - 3 for end in cuts(longer)]
    assert before[2:] == after[2:]


def test_equal_trees_have_equal_digests_and_any_other_value_another(tmp_path: Path) -> None:
    rows = [a_folder(b"d"), a_row(b"d/a"), a_link(b"d/l", b"a")]
    digest = group_index(a_manifest(tmp_path, rows).file)[0].digest
    assert group_index(a_manifest(tmp_path, reversed(rows)).file)[0].digest == digest
    others = [
        [a_folder(b"d"), a_row(b"d/b"), a_link(b"d/l", b"a")],
        [a_folder(b"d"), a_row(b"d/a", size=101), a_link(b"d/l", b"a")],
        [a_folder(b"d"), a_row(b"d/a", mtime_ns=MTIME + 1), a_link(b"d/l", b"a")],
        [a_folder(b"d"), a_row(b"d/a", kind=Kind.OTHER), a_link(b"d/l", b"a")],
        [a_folder(b"d"), a_row(b"d/a"), a_link(b"d/l", b"b")],
        [a_folder(b"d"), a_row(b"d/a"), a_row(b"d/l", kind=Kind.LINK, size=1, target=None)],
        [a_folder(b"d"), a_row(b"d/a")],
        [a_folder(b"d"), a_row(b"d/a", digest=b"1"), a_link(b"d/l", b"a")],
        [a_folder(b"d"), a_row(b"d/a", digest=b"2"), a_link(b"d/l", b"a")],
    ]
    found = {group_index(a_manifest(tmp_path, other).file)[0].digest for other in others}
    assert digest not in found
    assert len(found) == len(others)


def test_names_that_join_alike_have_different_digests(tmp_path: Path) -> None:
    one = a_manifest(tmp_path, [a_row(b"ab"), a_row(b"c")])
    other = a_manifest(tmp_path, [a_row(b"a"), a_row(b"bc")])
    assert group_index(one.file)[0].digest != group_index(other.file)[0].digest


def test_a_change_of_ctime_alone_keeps_the_digest(tmp_path: Path) -> None:
    one, other = (
        group_index(a_manifest(tmp_path, [a_row(b"a", ctime_ns=ctime)]).file)[0] for ctime in (MTIME, MTIME + 1)
    )
    assert one.digest == other.digest
    assert one.ctimes_digest != other.ctimes_digest


def test_a_group_says_what_is_in_it(tmp_path: Path) -> None:
    late = MTIME + 365 * DAY_NS
    rows = [a_folder(b"d"), a_row(b"d/a", size=5), a_row(b"d/b", size=6, mtime_ns=late), a_link(b"d/l", b"abc")]
    (group,) = group_index(a_manifest(tmp_path, rows).file)
    assert (group.first, group.rows, group.files, group.bytes) == (b"d", 4, 3, 11)
    assert group.newest_mtime_ns == MTIME  # the other one is odd


def test_a_group_counts_its_hollow_files_and_those_with_a_digest(tmp_path: Path) -> None:
    rows = [
        a_row(b"a", size=1 << 20, blocks=0),
        a_row(b"b", size=1 << 20, blocks=2048),
        a_row(b"c", digest=b"1"),
        a_row(b"d"),
    ]
    (group,) = group_index(a_manifest(tmp_path, rows).file)
    assert (group.hollow, group.digested) == (1, 1)


def test_many_rows_lie_in_many_groups_each_readable_alone(tmp_path: Path) -> None:
    manifest = a_manifest(tmp_path, (a_row(b"%06d" % number) for number in range(40_000)))
    groups = group_index(manifest.file)
    assert len(groups) > 2
    for number, group in enumerate(groups):
        assert read_groups(manifest.file, [number], ["path"])["path"][0].as_py() == group.first
    assert sum(group.rows for group in groups) == manifest.census.entries == 40_000

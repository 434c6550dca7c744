"""What went, came, moved and was rewritten between two listings, against the same worked out in plain dictionaries."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import timedelta
from pathlib import Path
from tempfile import TemporaryDirectory

from hypothesis import given, settings
from hypothesis import strategies as st

from coverage_audit.comparison.fallen import FALLEN
from coverage_audit.comparison.relation import read_relation
from coverage_audit.comparison.turnover import Turned, turn
from coverage_audit.comparison.types import Workspace
from coverage_audit.evidence.difference import Tally
from coverage_audit.evidence.manifest import Blind, Kind, Row
from coverage_audit.evidence.order import tree_key
from coverage_audit.evidence.turnover import Sign, Turnover
from tests.builders.manifests import MEMORY, MTIME, SEED, STARTED, a_folder, a_manifest, a_row

Tree = Mapping[bytes, tuple[int, int]]
"""Files by path: their size and mtime."""

ALL = tuple(Sign)
FOLDERS = [b"", b"a/", b"b/", b"a/c/"]
STEMS = [b"t", b"u.v", b"\xff", b"x y", b"n\nl"]
SUFFIXES = [b"", b".ods", b".xyz", b".ods.xyz", b".\xfe", b".id-1.mail.xyz"]
PATHS = st.builds(lambda *parts: b"".join(parts), *(st.sampled_from(each) for each in (FOLDERS, STEMS, SUFFIXES)))
FILES = st.tuples(st.sampled_from([0, 0, 1, 100, 5000]), st.sampled_from([MTIME, MTIME + 1_000_000_007]))
TREES = st.dictionaries(PATHS, FILES, max_size=25)


@dataclass(frozen=True)
class Pair:
    """A tree and what it was later."""

    before: Tree
    now: Tree


@st.composite
def pairs(draw: st.DrawFn) -> Pair:
    """A tree, of which later some went, were rewritten, moved or renamed; and others came."""
    before = draw(TREES)
    now = dict(before)
    for path in draw(st.lists(st.sampled_from(sorted(before)), unique=True)) if before else []:
        way = draw(st.sampled_from(["gone", "emptied", "rewritten", "added", "replaced", "moved"]))
        size, mtime = now.pop(path)
        name = path.rpartition(b"/")[2]
        stem = path.rpartition(b".")[0] or path
        if way in {"emptied", "rewritten"}:
            now[path] = (0 if way == "emptied" else size + 7, mtime + 3_000_000_019)
        elif way == "moved":
            now[b"elsewhere/" + name] = (size, mtime)
        elif way != "gone":
            now[(path if way == "added" else stem) + draw(st.sampled_from([b".xyz", b".id-1.xyz", b".\xfe"]))] = (
                9,
                mtime,
            )
    return Pair(before, {**now, **draw(st.dictionaries(PATHS, FILES, max_size=5))})


def turned(pair: Pair, folder: Path, within: Path | None = None, blind: bytes | None = None) -> Turned:
    """Hold the two listings against each other by the real parts; everything is a sign, so that its rows are kept."""
    before, now = (
        a_manifest(folder, [*_folders(tree), *_rows(tree)], started=STARTED + timedelta(days=day), blind=places)
        for day, tree, places in ((0, pair.before, ()), (1, pair.now, [Blind(path=blind, why="")] if blind else ()))
    )
    work = Workspace(folder=folder, memory=MEMORY, seed=SEED)
    return turn(before, now, leave_out=(), judge=lambda _: ALL, work=work, within=within)


def _rows(tree: Tree) -> list[Row]:
    return [a_row(path, size=size, mtime_ns=mtime, ctime_ns=mtime) for path, (size, mtime) in tree.items()]


def _folders(tree: Tree) -> list[Row]:
    above = {path[:place] for path in tree for place, octet in enumerate(path) if octet == ord("/")}
    return [a_folder(path) for path in above]


def tally(tree: Tree, paths: set[bytes]) -> Tally:
    return Tally(files=len(paths), bytes=sum(tree[path][0] for path in paths))


def moved_of(pair: Pair) -> set[bytes]:
    """Of what went, that which lies elsewhere: one by one, in the order of the tree."""
    came = Counter(
        (path.rpartition(b"/")[2], *figures) for path, figures in pair.now.items() if path not in pair.before
    )
    found = set()
    for path in sorted(set(pair.before) - set(pair.now), key=tree_key):
        key = (path.rpartition(b"/")[2], *pair.before[path])
        if came[key]:
            came[key] -= 1
            found.add(path)
    return found


def suffix_of(path: bytes) -> bytes:
    """The last suffix of a name, which has something before it (empty: it has none)."""
    name = path.rpartition(b"/")[2]
    stem, dot, last = name.rpartition(b".")
    return dot + last if stem and last else b""


def cut(path: bytes) -> bytes:
    return path[: len(path) - len(suffix_of(path))]


def partners_of(pair: Pair, gone: set[bytes]) -> tuple[bytes, dict[bytes, bytes]]:
    """The suffix that most bear, and who went in whose stead: by arrival the nearest, of these by what went."""
    order = {path: number for number, path in enumerate(sorted({*pair.before, *pair.now}, key=tree_key))}
    met: dict[bytes, list[tuple[int, int, bytes]]] = {}
    for arrival in set(pair.now) - set(pair.before):
        base, near = arrival, []
        for level in range(1, 5):
            if not suffix_of(base):
                break
            base = cut(base)
            near += [(level, order[base], base)] if base in gone else []
            near += [(9, order[path], path) for path in gone if level == 1 and suffix_of(path) and cut(path) == base]
        if near:
            distance, _, path = min(near)
            met.setdefault(path, []).append((distance, order[arrival], arrival))
    each = {path: min(arrivals)[2] for path, arrivals in met.items()}
    counts = Counter(suffix_of(arrival) for arrival in each.values())
    top = min(counts, key=lambda suffix: (-counts[suffix], suffix), default=b"")
    return top, {path: arrival for path, arrival in each.items() if suffix_of(arrival) == top}


@settings(max_examples=60, deadline=None)
@given(pairs())
def test_the_figures_are_those_of_the_dictionaries(pair: Pair) -> None:
    both = set(pair.before) & set(pair.now)
    moved = moved_of(pair)
    gone = set(pair.before) - set(pair.now) - moved
    changed = {path for path in both if pair.before[path] != pair.now[path]}
    emptied = {path for path in changed if pair.before[path][0] and not pair.now[path][0]}
    suffix, steads = partners_of(pair, gone)

    with TemporaryDirectory() as folder:
        found = turned(pair, Path(folder)).turnover

    assert found == Turnover(
        before_at=STARTED,
        at=STARTED + timedelta(days=1),
        before=tally(pair.before, set(pair.before)),
        now=tally(pair.now, set(pair.now)),
        gone=tally(pair.before, gone),
        moved=tally(pair.before, moved),
        arrived=tally(pair.now, set(pair.now) - set(pair.before)),
        changed=tally(pair.before, changed),
        emptied=tally(pair.before, emptied),
        shrunk=sum(max(0, pair.before[path][0] - pair.now[path][0]) for path in changed),
        suffixed=tally(pair.before, set(steads)),
        suffix=suffix,
        largest=found.largest,
        oldest=found.oldest,
    )
    shown = {file.path for file in (*found.largest, *found.oldest)}
    assert shown <= gone | changed
    if gone | emptied:
        assert found.largest[0].size == max(pair.before[path][0] for path in gone | emptied)
        assert found.oldest[0].mtime_ns == min(pair.before[path][1] for path in gone | emptied)


@settings(max_examples=25, deadline=None)
@given(pairs(), TREES)
def test_of_a_change_kept_before_only_what_still_stands_is_counted(pair: Pair, later: Tree) -> None:
    third = Pair(pair.before, later)
    taken = {path for path in pair.before if pair.now.get(path) != pair.before[path]} - moved_of(pair)
    still = {path for path in taken if later.get(path) != pair.before[path]} - moved_of(third)

    with TemporaryDirectory() as folder:
        first = turned(pair, Path(folder))
        assert first.rows is not None
        found = turned(third, Path(folder), within=first.rows).turnover

    assert found.gone + found.changed == tally(pair.before, still)
    assert found.before == tally(pair.before, set(pair.before))


@settings(max_examples=20, deadline=None)
@given(pairs())
def test_the_rows_that_are_kept_are_those_that_went_and_changed_and_what_came_in_their_stead(pair: Pair) -> None:
    moved = moved_of(pair)
    gone = set(pair.before) - set(pair.now) - moved
    changed = {path for path in set(pair.before) & set(pair.now) if pair.before[path] != pair.now[path]}
    _, steads = partners_of(pair, gone)

    with TemporaryDirectory() as folder:
        kept = turned(pair, Path(folder)).rows
        assert kept is not None
        rows = [row for part in read_relation(kept, FALLEN.names) for row in part.to_pylist()]

    expected = [pair.before[path] for path in (*gone, *changed, *steads)]
    assert sorted((row["size"], row["mtime_ns"]) for row in rows) == sorted(expected)
    assert all(row["kind"] == Kind.FILE for row in rows)
    by_key = {(row["key_hi"], row["key_lo"]): row for row in rows if row["sort"] == "gone"}
    for row in rows:
        if row["sort"] == "suffixed":
            stead = by_key[row["stead_hi"], row["stead_lo"]]
            assert (stead["size"], stead["mtime_ns"]) == (row["size"], row["mtime_ns"])


def test_what_lies_below_a_place_that_could_not_be_read_is_not_gone(tmp_path: Path) -> None:
    pair = Pair({b"a/t": (100, MTIME), b"b/t": (7, MTIME)}, {})

    assert turned(pair, tmp_path, blind=b"a").turnover.gone == Tally(files=1, bytes=7)

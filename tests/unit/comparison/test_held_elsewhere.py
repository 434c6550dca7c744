from __future__ import annotations

import hashlib
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest

from coverage_audit.comparison.held_elsewhere import ALGORITHM, HeldElsewhere
from coverage_audit.comparison.held_rows import HeldTree, Region
from coverage_audit.comparison.held_terms import StayingTree, ToRead
from coverage_audit.comparison.types import Workspace
from coverage_audit.estate.model import Address, DatasetId
from coverage_audit.evidence.content import HashedFile
from coverage_audit.evidence.elsewhere import Held
from coverage_audit.evidence.engine import Engine, open_engine
from coverage_audit.evidence.manifest import Row
from coverage_audit.ledger.digest_book import DigestBook
from coverage_audit.ledger.folder import StateFolder
from tests.builders.manifests import MEMORY, MTIME, SEED, a_link, a_manifest, a_row
from tests.builders.station import a_key

UNCHANGED: Mapping[str, Any] = {}
SET = DatasetId("recordings")
MAIN, POOL = a_key("kestrel:main"), a_key("heron:pool")


@pytest.fixture
def engine(tmp_path: Path) -> Iterator[Engine]:
    with open_engine(MEMORY, tmp_path) as opened:
        yield opened


def a_tree(folder: Path, *rows: Row, **values: Any) -> HeldTree:
    return HeldTree(manifest=a_manifest(folder, rows), **values)


def asked(
    engine: Engine, folder: Path, leaving: HeldTree, *staying: HeldTree, weak: Sequence[HeldTree] = ()
) -> HeldElsewhere:
    trees = [*(StayingTree(tree=tree) for tree in staying), *(StayingTree(tree=tree, counts=False) for tree in weak)]
    work = Workspace(folder=folder, memory=MEMORY, seed=SEED)
    held = HeldElsewhere(engine, work, [leaving], trees)
    held.load()
    return held


def read(
    held: HeldElsewhere,
    contents: dict[bytes, bytes],
    *,
    listed_too: bool = True,
    changed: Mapping[str, Any] = UNCHANGED,
) -> list[bytes]:
    """Read all that is asked for: contents by path on either side, `changed` figures in all of them."""
    paths: list[bytes] = []
    for side in ("mine", "others"):
        for wanted in held.to_read(side, listed_too=listed_too):
            paths += wanted.paths
            figures = zip(wanted.paths, wanted.sizes, wanted.mtimes, wanted.ctimes, strict=True)
            found = [
                HashedFile(path=p, size=s, mtime_ns=m, ctime_ns=c, digest=hashlib.sha256(contents[p]).digest())
                for p, s, m, c in figures
            ]
            held.take(wanted, [replace(one, **changed) for one in found])
    return paths


def take_as_read(held: HeldElsewhere, wanted: ToRead, contents: Mapping[bytes, bytes]) -> None:
    """Take the contents of one tree as read now."""
    figures = zip(wanted.paths, wanted.sizes, wanted.mtimes, wanted.ctimes, strict=True)
    digests = {path: hashlib.sha256(contents[path]).digest() for path in wanted.paths}
    held.take(wanted, [HashedFile(path=p, size=s, mtime_ns=m, ctime_ns=c, digest=digests[p]) for p, s, m, c in figures])


def classes(held: HeldElsewhere, perhaps: Sequence[DatasetId] = ()) -> dict[bytes, Held]:
    held.classes(perhaps)
    return {one.path: one.held for one in held.lone([MAIN], 100)}


def test_a_file_of_a_size_that_nothing_else_has_is_only_here_and_never_read(engine: Engine, tmp_path: Path) -> None:
    held = asked(engine, tmp_path, a_tree(tmp_path, a_row(b"a", size=7)), a_tree(tmp_path, a_row(b"a", size=8)))
    assert read(held, {}) == []
    assert classes(held) == {b"a": Held.ONLY_HERE}


def test_the_same_content_under_another_name_holds_it_and_other_content_does_not(
    engine: Engine, tmp_path: Path
) -> None:
    leaving = a_tree(tmp_path, a_row(b"a"), a_row(b"b"))
    held = asked(engine, tmp_path, leaving, a_tree(tmp_path, a_row(b"x/renamed"), a_row(b"b2")))
    assert classes(held) == {b"a": Held.BY_SIZE, b"b": Held.BY_SIZE}
    read(held, {b"a": b"song", b"b": b"other", b"x/renamed": b"song", b"b2": b"no"})
    assert classes(held) == {b"b": Held.ONLY_HERE}


def test_place_size_and_time_are_a_class_of_their_own_that_is_read_on_request(engine: Engine, tmp_path: Path) -> None:
    leaving = a_tree(tmp_path, a_row(b"set/a"), regions=(Region(prefix=b"set", dataset=SET),))
    staying = a_tree(tmp_path, a_row(b"mirror/a"), regions=(Region(prefix=b"mirror", dataset=SET),))
    held = asked(engine, tmp_path, leaving, staying)
    assert classes(held) == {b"set/a": Held.BY_LISTING}
    assert read(held, {}, listed_too=False) == []
    assert read(held, {b"set/a": b"x", b"mirror/a": b"x"}) == [b"set/a", b"mirror/a"]
    assert classes(held) == {}


def test_what_is_held_but_has_another_content_at_its_own_place_is_told(engine: Engine, tmp_path: Path) -> None:
    """Of three places two agree: what leaves is held, and the third is not what its size and time say that it is."""
    region = (Region(prefix=b"", dataset=SET),)
    rows = [a_row(b"a"), a_row(b"b"), a_row(b"lone")]
    trees = [a_tree(tmp_path, *rows, regions=region) for _ in range(3)]
    held = asked(engine, tmp_path, *trees)
    contents = [{b"a": b"x", b"b": b"y", b"lone": b"l"}, {b"a": b"x", b"b": b"y", b"lone": b"?"}]
    contents.append({b"a": b"!", b"b": b"y", b"lone": b"?"})
    for number, side in enumerate(("mine", "others", "others")):
        for wanted in held.to_read(side, listed_too=True):
            if wanted.tree == max(0, number - 1):
                take_as_read(held, wanted, contents[number])
    assert classes(held) == {b"lone": Held.ONLY_HERE}
    assert held.differing() == [(SET, 1, 1, b"a")]


def test_another_time_at_the_same_place_is_not_by_listing(engine: Engine, tmp_path: Path) -> None:
    region = (Region(prefix=b"", dataset=SET),)
    leaving = a_tree(tmp_path, a_row(b"a"), regions=region)
    staying = a_tree(tmp_path, a_row(b"a", mtime_ns=MTIME + 1), regions=region)
    assert classes(asked(engine, tmp_path, leaving, staying)) == {b"a": Held.BY_SIZE}


@pytest.mark.parametrize("changed", [{"size": 99}, {"mtime_ns": 5}, {"ctime_ns": 5}])
def test_what_changed_since_it_was_listed_counts_as_not_read(
    engine: Engine, tmp_path: Path, changed: dict[str, int]
) -> None:
    held = asked(engine, tmp_path, a_tree(tmp_path, a_row(b"a")), a_tree(tmp_path, a_row(b"a")))
    read(held, {b"a": b"x"}, changed=changed)
    assert classes(held) == {b"a": Held.BY_SIZE}
    assert read(held, {}) == []  # it is asked for once


def test_a_place_that_does_not_count_holds_nothing_and_leaves_it_open(engine: Engine, tmp_path: Path) -> None:
    leaving = a_tree(tmp_path, a_row(b"a"), a_row(b"b", size=5), regions=(Region(prefix=b"", dataset=SET),))
    held = asked(engine, tmp_path, leaving, weak=[a_tree(tmp_path, a_row(b"a"))])
    assert read(held, {}) == []
    assert classes(held) == {b"a": Held.PERHAPS, b"b": Held.ONLY_HERE}
    assert classes(held, [SET]) == {b"a": Held.PERHAPS, b"b": Held.PERHAPS}


def test_what_need_not_be_kept_is_asked_of_nobody_and_holds_nothing(engine: Engine, tmp_path: Path) -> None:
    leaving = a_tree(tmp_path, a_row(b"a"), a_row(b"cache/b", size=5), not_kept=("cache/",))
    staying = a_tree(tmp_path, a_row(b"cache/a"), not_kept=("cache/",))
    held = asked(engine, tmp_path, leaving, staying)
    assert classes(held) == {b"a": Held.ONLY_HERE}
    assert (held.seen[0].by_pattern[0].files, held.seen[0].kinds.files.files) == (1, 1)


def test_empty_files_hold_each_other_unread_and_links_hold_nothing(engine: Engine, tmp_path: Path) -> None:
    leaving = a_tree(tmp_path, a_row(b"a", size=0), a_row(b"b", size=1))
    held = asked(engine, tmp_path, leaving, a_tree(tmp_path, a_row(b"z", size=0), a_link(b"b", b"c")))
    assert read(held, {}) == []
    assert classes(held) == {b"b": Held.ONLY_HERE}


def test_what_a_dataset_leaves_out_is_counted_and_asked_about_all_the_same(engine: Engine, tmp_path: Path) -> None:
    region = Region(prefix=b"set", dataset=SET, leave_out=("*.part",))
    held = asked(engine, tmp_path, a_tree(tmp_path, a_row(b"set/a.part"), regions=(region,)))
    held.classes(())
    (lone,) = held.lone([MAIN], 9)
    assert (lone.held, lone.left_out, lone.dataset) == (Held.ONLY_HERE, True, SET)
    assert held.seen[0].kinds.left_out.files == 1


def test_a_remembered_digest_stands_while_the_figures_do(engine: Engine, tmp_path: Path) -> None:
    state = StateFolder(path=tmp_path / "state")
    state.prepare()
    book, at = DigestBook(state), Address(volume=POOL, path="")
    rows = [a_row(name) for name in (b"a", b"written", b"spoilt")]
    hashed = [
        HashedFile(
            path=row.path,
            size=row.size,
            mtime_ns=row.mtime_ns,
            ctime_ns=(row.ctime_ns or 0) + (row.path == b"written"),
            digest=hashlib.sha256(row.path).digest(),
        )
        for row in rows
    ]
    book.add(at, ALGORITHM, hashed, datetime(2026, 11, 26, tzinfo=UTC))
    held = asked(engine, tmp_path, a_tree(tmp_path, a_row(b"mine")), a_tree(tmp_path, *rows))
    assert held.remember("others", 0, b"", book.of(at, ALGORITHM), but=frozenset({b"spoilt"})) == 1
    (wanted,) = held.to_read("mine", listed_too=True)
    held.take(wanted, [replace(hashed[0], path=b"mine", ctime_ns=None)])
    assert classes(held) == {}
    others = [one.paths for one in held.to_read("others", listed_too=True)]
    assert others == []  # all that leaves is decided


@pytest.mark.parametrize("listed", [True, False], ids=["with the listing", "with the digest"])
def test_without_a_ctime_no_remembered_digest_stands(engine: Engine, tmp_path: Path, *, listed: bool) -> None:
    state = StateFolder(path=tmp_path / "state")
    state.prepare()
    book, at = DigestBook(state), Address(volume=POOL, path="")
    shown, row = a_row(b"a"), a_row(b"a") if listed else replace(a_row(b"a"), ctime_ns=None)
    read_then = HashedFile(
        path=b"a", size=shown.size, mtime_ns=shown.mtime_ns, ctime_ns=None, digest=hashlib.sha256(b"a").digest()
    )
    book.add(at, ALGORITHM, [read_then], datetime(2026, 11, 26, tzinfo=UTC))
    held = asked(engine, tmp_path, a_tree(tmp_path, a_row(b"mine")), a_tree(tmp_path, row))
    assert held.remember("others", 0, b"", book.of(at, ALGORITHM), but=frozenset()) == 0

"""Laws of manifests: what goes in comes out, in one order, whatever the order and the pieces in which it came."""

from __future__ import annotations

import tempfile
from pathlib import Path

from hypothesis import given, settings
from hypothesis import strategies as st

from coverage_audit.evidence.keys import key_of
from coverage_audit.evidence.manifest import Blind, CompleteManifest, Kind, PartialManifest, Row
from coverage_audit.evidence.order import tree_key
from coverage_audit.evidence.store import ManifestWriter, group_index, open_manifest, read_groups, rows
from tests.builders.manifests import MEMORY, SEED, STARTED, a_batch, a_manifest, an_origin

names = st.binary(min_size=1, max_size=5).filter(lambda name: not {0, ord("/")} & set(name))
paths = st.lists(names, min_size=1, max_size=4).map(b"/".join)
numbers = st.integers(-(2**63), 2**63 - 1)


@st.composite
def a_listing(draw: st.DrawFn) -> list[Row]:
    return [
        Row(
            path=path,
            kind=(kind := draw(st.sampled_from(list(Kind)))),
            size=0 if kind is Kind.FOLDER else draw(st.integers(0, 2**50)),
            mtime_ns=draw(numbers),
            ctime_ns=draw(st.none() | numbers),
            target=draw(st.binary(max_size=9)) if kind is Kind.LINK else None,
            blocks=draw(st.none() | st.integers(0, 2**50)) if kind is Kind.FILE else None,
            links=draw(st.none() | st.integers(1, 9)) if kind is Kind.FILE else None,
            digest=draw(st.none() | st.binary(max_size=4)) if kind is Kind.FILE else None,
        )
        for path in draw(st.lists(paths, max_size=12, unique=True))
    ]


@settings(deadline=None, max_examples=60)
@given(a_listing())
def test_a_manifest_gives_back_every_row_in_tree_order(listing: list[Row]) -> None:
    with tempfile.TemporaryDirectory() as folder:
        manifest = a_manifest(Path(folder), listing)
        assert list(rows(manifest.file)) == sorted(listing, key=lambda row: tree_key(row.path))
        assert open_manifest(manifest.file) == manifest


@settings(deadline=None, max_examples=60)
@given(a_listing(), st.randoms(use_true_random=False), st.integers(1, 5))
def test_order_and_pieces_are_irrelevant(listing: list[Row], chance: object, piece: int) -> None:
    shuffled = listing.copy()
    chance.shuffle(shuffled)  # type: ignore[attr-defined] # hypothesis gives a random.Random
    with tempfile.TemporaryDirectory() as folder:
        plain = a_manifest(Path(folder), listing)
        writer = ManifestWriter(Path(folder) / "other", SEED, MEMORY, started=STARTED)
        for start in range(0, len(shuffled), piece):
            writer.add(a_batch(shuffled[start : start + piece]))
        other = writer.finish(an_origin(), ())
        assert other.census == plain.census
        assert group_index(other.file) == group_index(plain.file)


@settings(deadline=None, max_examples=30)
@given(a_listing())
def test_the_census_is_what_the_rows_add_up_to(listing: list[Row]) -> None:
    with tempfile.TemporaryDirectory() as folder:
        manifest = a_manifest(Path(folder), listing)
        groups = group_index(manifest.file)
        files = [row for row in listing if row.kind is not Kind.FOLDER]
        size = sum(row.size for row in listing if row.kind is Kind.FILE)
        assert (manifest.census.entries, manifest.census.files, manifest.census.bytes) == (
            len(listing),
            len(files),
            size,
        )
        assert sum(group.files for group in groups) == len(files)
        assert sum(group.hollow for group in groups) == manifest.census.hollow
        assert sum(group.digested for group in groups) == manifest.census.digested
        assert sum(group.bytes for group in groups) == size
        step = manifest.census.granularity_ns
        assert all(row.mtime_ns % step == 0 for row in listing if row.kind is Kind.FILE)


@settings(deadline=None, max_examples=30)
@given(a_listing(), st.binary(min_size=1, max_size=16))
def test_every_row_bears_its_key(listing: list[Row], seed: bytes) -> None:
    with tempfile.TemporaryDirectory() as folder:
        manifest = a_manifest(Path(folder), listing, seed=seed)
        groups = range(len(group_index(manifest.file)))
        for row in read_groups(manifest.file, groups, ["key_hi", "key_lo", "path"]).to_pylist() if groups else []:
            assert (row["key_hi"], row["key_lo"]) == key_of(seed, row["path"])


@settings(deadline=None, max_examples=30)
@given(st.lists(st.tuples(paths, st.text(max_size=9)), max_size=4, unique_by=lambda place: place[0]))
def test_a_manifest_with_a_blind_place_is_never_complete(places: list[tuple[bytes, str]]) -> None:
    blind = [Blind(path=path, why=why) for path, why in places]
    with tempfile.TemporaryDirectory() as folder:
        opened = open_manifest(a_manifest(Path(folder), [], blind=blind).file)
        if blind:
            assert isinstance(opened, PartialManifest)
            assert set(opened.blind) == set(blind)
        else:
            assert isinstance(opened, CompleteManifest)

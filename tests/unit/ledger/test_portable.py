"""Recorded trees in a file that is carried: they come back as they were, and a damaged file is no evidence."""

from __future__ import annotations

import random
from dataclasses import replace
from datetime import timedelta
from pathlib import Path

import pytest

from coverage_audit.errors import EvidenceError
from coverage_audit.evidence.facts import DeviceFacts, VolumeFacts
from coverage_audit.evidence.manifest import Blind
from coverage_audit.evidence.shelf import ShelfTree
from coverage_audit.evidence.store import keyed_again, open_manifest, rows
from coverage_audit.ledger.portable import is_portable, read_portable, write_portable
from tests.builders.manifests import a_manifest, a_row
from tests.builders.recorded import COPY, FIRST, HERON, a_box_answer


@pytest.fixture
def tree(tmp_path: Path) -> ShelfTree:
    """A tree with a hostile name and a blind place."""
    answer = a_box_answer(HERON)
    facts, volume = answer.facts, answer.volumes[0]
    assert isinstance(facts, DeviceFacts)
    assert isinstance(volume, VolumeFacts)
    listed = [a_row(b"take-\xff\n.wav", size=7), a_row(b"a/b", size=9)]
    blind = [Blind(path=b"shut", why="not readable")]
    manifest = a_manifest(tmp_path, listed, blind=blind, address=COPY, started=FIRST)
    return ShelfTree(address=COPY, manifest=manifest, at=FIRST, how="recorded", device=facts, volume=volume)


@pytest.fixture
def carried(tmp_path: Path, tree: ShelfTree) -> Path:
    file = tmp_path / "shelf-b.manifest"
    write_portable(file, [tree])
    return file


def unpacked(file: Path) -> tuple[ShelfTree, ...]:
    into = file.parent / "unpacked"
    into.mkdir(exist_ok=True)
    return read_portable(file, into)


def test_what_was_recorded_comes_back_as_it_was(carried: Path, tree: ShelfTree) -> None:
    (back,) = unpacked(carried)

    assert is_portable(carried)
    assert (back.address, back.at, back.device, back.volume) == (tree.address, tree.at, tree.device, tree.volume)
    assert list(rows(back.manifest.file)) == list(rows(tree.manifest.file))
    assert open_manifest(back.manifest.file).origin == tree.manifest.origin


def test_keyed_again_it_has_the_same_rows_under_the_other_seed(carried: Path, tree: ShelfTree, tmp_path: Path) -> None:
    (back,) = unpacked(carried)

    again = keyed_again(back.manifest, tmp_path / "again.parquet", bytes(16), 1 << 28, origin=back.manifest.origin)

    assert list(rows(again.file)) == list(rows(tree.manifest.file))
    assert again.census == tree.manifest.census
    assert type(again) is type(tree.manifest)
    assert again.file.read_bytes() != tree.manifest.file.read_bytes(), "its keys are others"


def test_steps_of_time_that_no_filesystem_has_are_no_evidence(tree: ShelfTree, tmp_path: Path) -> None:
    """Within a step of a year every time would be every other."""
    origin = replace(tree.manifest.origin, precision_ns=365 * 86_400 * 10**9)

    with pytest.raises(EvidenceError, match="keeps times in steps of"):
        keyed_again(tree.manifest, tmp_path / "again.parquet", bytes(16), 1 << 28, origin=origin)

    assert not (tmp_path / "again.parquet").exists()


def test_a_file_that_was_cut_anywhere_is_no_evidence(carried: Path) -> None:
    whole = carried.read_bytes()
    chance = random.Random(7)
    places = {0, 1, len(whole) - 1, *chance.sample(range(len(whole)), 200)}
    for place in sorted(places):
        carried.write_bytes(whole[:place])
        with pytest.raises(EvidenceError):
            unpacked(carried)


def test_a_file_with_one_byte_changed_anywhere_is_no_evidence(carried: Path) -> None:
    whole = carried.read_bytes()
    chance = random.Random(11)
    for place in sorted(chance.sample(range(len(whole)), 300)):
        changed = bytearray(whole)
        changed[place] ^= 1 << chance.randrange(8)
        carried.write_bytes(changed)
        with pytest.raises(EvidenceError):
            unpacked(carried)


def test_what_follows_the_end_is_no_part_of_it(carried: Path) -> None:
    carried.write_bytes(carried.read_bytes() + b"x")

    with pytest.raises(EvidenceError, match="end where it should"):
        unpacked(carried)


def test_a_newer_version_and_a_foreign_file_are_told_apart(carried: Path) -> None:
    carried.write_bytes(carried.read_bytes().replace(b"manifest/1\n", b"manifest/9\n", 1))
    with pytest.raises(EvidenceError, match="newer version"):
        unpacked(carried)

    carried.write_bytes(b"d41d8cd98f00b204e9800998ecf8427e  take.wav\n")
    assert not is_portable(carried)
    with pytest.raises(EvidenceError, match="carried from another machine"):
        unpacked(carried)


def test_a_tree_that_cannot_be_written_leaves_no_file(tree: ShelfTree, tmp_path: Path) -> None:
    (tmp_path / "taken").mkdir()

    with pytest.raises(EvidenceError, match="could not be written"):
        write_portable(tmp_path / "taken", [tree])

    assert not list(tmp_path.glob("*.part"))


def test_a_tree_whose_time_is_not_its_listings_is_no_evidence(tree: ShelfTree, tmp_path: Path) -> None:
    forged = ShelfTree(address=tree.address, manifest=tree.manifest, at=tree.at + timedelta(days=9), how="forged")
    write_portable(tmp_path / "forged", [forged])

    with pytest.raises(EvidenceError, match="when it was made"):
        unpacked(tmp_path / "forged")


@pytest.mark.parametrize("path", [b"..", b"../outside", b"a/../../outside", b"./here"])
def test_rows_that_lead_out_of_their_tree_are_not_keyed(tmp_path: Path, path: bytes) -> None:
    forged = a_manifest(tmp_path, [a_row(path)], address=COPY, started=FIRST)

    with pytest.raises(EvidenceError, match="a path that is none"):
        keyed_again(forged, tmp_path / "again.parquet", bytes(16), 1 << 28, origin=forged.origin)

    assert not (tmp_path / "again.parquet").exists()
    assert not list(tmp_path.glob("again*"))

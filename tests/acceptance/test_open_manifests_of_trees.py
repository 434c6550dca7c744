"""A tree held against an open manifest, as the tool that made it holds it; one brought in as evidence of a drive."""

from __future__ import annotations

import hashlib
import os
import subprocess
from datetime import timedelta
from pathlib import Path

import pytest

from coverage_audit.judgement.verdict import Standing
from tests.parts.station import Ran, Station, copy_of

ESTATE = """
    rehearsal: true
    sites:
      station: {name: Field station}
      barn: {name: Long Barn}
    devices:
      kestrel:
        site: station
        access: local
        volumes: {main: {path: "{root}/kestrel", medium: hdd, on_root: true}}
      shelf-b:
        site: barn
        access: shelf
        volumes: {drive: {medium: ssd, offline: true}}
    policies:
      careful: {copies: 2, max_age: 26h}
    datasets:
      field-recordings:
        policy: careful
        original: kestrel:main/recordings
        copies: [{at: shelf-b:drive/recordings, max_age: 35d}]
"""
NAMES = ("take-1.wav", "take 2.wav", "a/take-3.wav", "a/b/-rf \\ ü.wav", "a/b/take-5.wav")


@pytest.fixture
def tree(station: Station) -> Path:
    station.declare(ESTATE)
    for number, name in enumerate(NAMES):
        station.write(f"kestrel/recordings/{name}", bytes([number]) * (100 + number))
    return station.root / "kestrel/recordings"


@pytest.fixture
def sums(tree: Path, station: Station) -> Path:
    """What sha256sum makes of the tree."""
    file = station.root / "sums.txt"
    names = sorted(str(path.relative_to(tree)) for path in tree.rglob("*") if path.is_file())
    file.write_bytes(subprocess.check_output(["sha256sum", "--", *names], cwd=tree))
    return file


def held(station: Station, tree: Path, against: Path) -> Ran:
    return station.command("manifest", str(tree), "--against", str(against))


def failed_by_sha256sum(tree: Path, sums: Path) -> int:
    """How many files `sha256sum -c` does not find as they were."""
    done = subprocess.run(["sha256sum", "-c", str(sums)], cwd=tree, capture_output=True, check=False)
    return sum(b": FAILED" in line for line in done.stdout.splitlines())


def test_a_tree_that_is_as_it_was_agrees_as_sha256sum_says(station: Station, tree: Path, sums: Path) -> None:
    ran = held(station, tree, sums)

    assert ran.status == 0, ran.out + ran.err
    assert "5 entries held against the manifest: 0 missing, 0 changed, 0 added" in ran.out
    assert failed_by_sha256sum(tree, sums) == 0


def test_one_byte_changed_one_missing_one_added_are_told_as_sha256sum_tells_them(
    station: Station, tree: Path, sums: Path
) -> None:
    changed = tree / "take-1.wav"
    before = changed.stat()
    changed.write_bytes(b"\1" + changed.read_bytes()[1:])
    os.utime(changed, ns=(before.st_atime_ns, before.st_mtime_ns))
    (tree / "a/take-3.wav").unlink()
    (tree / "a/new.wav").write_bytes(b"new")

    ran = held(station, tree, sums)

    assert ran.status == 1
    assert "changed  take-1.wav (its content differs)" in ran.out
    assert "missing  a/take-3.wav" in ran.out
    assert "added    a/new.wav" in ran.out
    assert "1 missing, 1 changed, 1 added" in ran.out
    assert failed_by_sha256sum(tree, sums) == 2, "it does not look for what was added"


def test_a_bag_is_held_against_what_it_lists(station: Station, tree: Path) -> None:
    bag = station.root / "bag"
    (bag / "data").mkdir(parents=True)
    (bag / "data/take.wav").write_bytes(b"field notes")
    (bag / "bagit.txt").write_text("BagIt-Version: 1.0\nTag-File-Character-Encoding: UTF-8\n")
    digest = hashlib.sha256(b"field notes").hexdigest()
    (bag / "manifest-sha256.txt").write_text(f"{digest}  data/take.wav\n")
    assert held(station, bag, bag).status == 0

    (bag / "data/take.wav").write_bytes(b"field nones")
    (bag / "data/more.wav").write_bytes(b"more")
    ran = held(station, bag, bag)

    assert ran.status == 1
    assert "changed  take.wav" in ran.out
    assert "added    more.wav" in ran.out
    assert tree.exists()


def test_of_what_a_specification_does_not_vouch_for_nothing_is_said(station: Station, tree: Path) -> None:
    """mtree(5): `optional` may be absent, of `nochange` the attributes are ignored, below `ignore` everything is."""
    spec = station.root / "tree.mtree"
    spec.write_text(
        "#mtree\n. type=dir\n take-1.wav type=file size=7 nochange\n take\\0402.wav type=file size=101\n"
        " gone type=file size=1 optional\n a type=dir ignore\n ..\n"
    )

    ran = held(station, tree, spec)

    assert ran.status == 69, ran.out
    assert "0 missing, 0 changed, 0 added, 3 not read" in ran.out


def test_an_open_manifest_stands_for_a_drive_and_says_that_nothing_shows_which(
    station: Station, tree: Path, sums: Path
) -> None:
    ran = station.command(
        "manifest", "--from", str(sums), "--for", "shelf-b:drive/recordings", "--made", station.now().isoformat()
    )

    assert ran.status == 0, ran.err
    assert "shows nothing by which it is known" in ran.out
    assert ran.out.endswith("recorded\n")
    copy = copy_of(station.night(), "field-recordings")
    assert copy.standing is not Standing.PROVEN, "the original has no digests, and the manifest neither sizes nor times"
    assert tree.exists()


def test_without_a_time_or_of_the_future_it_is_no_evidence(station: Station, tree: Path, sums: Path) -> None:
    words = ("manifest", "--from", str(sums), "--for", "shelf-b:drive/recordings")
    assert tree.exists()

    bare, odd = station.command(*words), station.command(*words, "--made", "yesterday")
    ahead = station.command(*words, "--made", (station.now() + timedelta(days=2)).isoformat())

    assert (bare.status, odd.status, ahead.status) == (64, 64, 74)
    assert "--made" in bare.err
    assert "is no time" in odd.err
    assert "which is to come" in ahead.err


def test_a_list_that_leads_out_of_its_tree_is_no_evidence(station: Station, tree: Path, sums: Path) -> None:
    sums.write_text(f"{'0' * 64}  ../../etc/passwd\n")

    ran = held(station, tree, sums)

    assert ran.status == 69
    assert "is no evidence" in ran.err

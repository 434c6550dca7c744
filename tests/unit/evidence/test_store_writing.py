from __future__ import annotations

import stat
import subprocess
import sys
from collections.abc import Iterator
from datetime import timedelta
from pathlib import Path
from typing import Any

import numpy as np
import pyarrow as pa
import pytest

from coverage_audit.errors import EvidenceError
from coverage_audit.evidence import keys
from coverage_audit.evidence.manifest import Blind, CompleteManifest, Kind, PartialManifest, Row
from coverage_audit.evidence.order import tree_key
from coverage_audit.evidence.store import ManifestWriter, group_index, open_manifest, read_groups, rows
from coverage_audit.evidence.store import part as part_module
from tests.builders.manifests import (
    MEMORY,
    SEED,
    STARTED,
    a_batch,
    a_folder,
    a_link,
    a_manifest,
    a_row,
    an_origin,
)


def a_writer(folder: Path, memory: int = MEMORY) -> ManifestWriter:
    return ManifestWriter(folder / "m.parquet", SEED, memory, started=STARTED)


def shuffled_by(seed: int, values: list[Row]) -> list[Row]:
    order = np.random.default_rng(seed).permutation(len(values))
    return [values[place] for place in order]


def many(number: int) -> list[Row]:
    return [a_row(b"site-%02d/day-%04d/take-%06d.flac" % (n % 7, n // 30, n), size=n) for n in range(number)]


def test_what_was_written_is_read_back_in_tree_order(tmp_path: Path) -> None:
    written = [
        a_row(b"z", blocks=8, links=3, digest=b"\0\xff"),
        a_row(b"a.txt", ctime_ns=None),
        a_folder(b"a"),
        a_row(b"a/\xff\n\t\x1b[31m", mtime_ns=-1),
        a_link(b"l", b"\xfe/../x"),
        a_row(b"p", kind=Kind.OTHER, size=0),
    ]
    manifest = a_manifest(tmp_path, written)
    assert list(rows(manifest.file)) == sorted(written, key=lambda row: tree_key(row.path))


def test_the_manifest_that_is_opened_equals_the_one_that_was_finished(tmp_path: Path) -> None:
    said: dict[str, Any] = {
        "clock_offset": timedelta(microseconds=-3),
        "lacks": frozenset({"ctime"}),
        "digest": "sha256",
        "root": "/srv/\udcff",
    }
    complete = a_manifest(tmp_path, [a_row(b"a")], **said)
    partial = a_manifest(tmp_path, [a_row(b"a")], blind=[Blind(path=b"d\xff", why="Permission denied")])
    assert isinstance(complete, CompleteManifest)
    assert isinstance(partial, PartialManifest)
    assert open_manifest(complete.file) == complete
    assert open_manifest(partial.file) == partial


def test_batches_in_any_order_make_the_same_file(tmp_path: Path) -> None:
    wanted = many(30_000)
    sorted_one = a_manifest(tmp_path, sorted(wanted, key=lambda row: tree_key(row.path)))
    shuffled = shuffled_by(5, wanted)
    writer = a_writer(tmp_path)
    for start in range(0, len(shuffled), 700):
        writer.add(a_batch(shuffled[start : start + 700]))
    other = writer.finish(an_origin(), ())
    assert other.census == sorted_one.census
    assert group_index(other.file) == group_index(sorted_one.file)


def test_more_rows_than_memory_may_hold_are_merged_from_runs(tmp_path: Path) -> None:
    wanted = shuffled_by(3, many(60_000))
    sorted_one = a_manifest(tmp_path, wanted)
    writer = a_writer(tmp_path, memory=4_000_000)
    for start in range(0, len(wanted), 9_000):
        writer.add(a_batch(wanted[start : start + 9_000]))
    other = writer.finish(an_origin(), ())
    assert group_index(other.file) == group_index(sorted_one.file)
    assert sorted(file.suffix for file in tmp_path.iterdir()) == [".parquet", ".parquet"]


def test_order_that_is_lost_late_is_mended(tmp_path: Path) -> None:
    writer = a_writer(tmp_path)
    for start in range(1, 200_001, 50_000):
        writer.add(a_batch(a_row(b"%06d" % number) for number in range(start, start + 50_000)))
    writer.add(a_batch([a_row(b"000000")]))
    manifest = writer.finish(an_origin(), ())
    groups = group_index(manifest.file)
    found = read_groups(manifest.file, range(len(groups)), ["path"])["path"].to_pylist()
    assert found == [b"%06d" % number for number in range(200_001)]


@pytest.mark.parametrize("between", [0, 3000, 70_000])
def test_a_path_listed_twice_is_refused_and_nothing_is_left(tmp_path: Path, between: int) -> None:
    writer = a_writer(tmp_path)
    writer.add(a_batch([a_row(b"same")]))
    writer.add(a_batch(a_row(b"%06d" % number) for number in range(between)))
    writer.add(a_batch([a_row(b"same")]))
    with pytest.raises(EvidenceError, match="twice"):
        writer.finish(an_origin(), ())
    assert list(tmp_path.iterdir()) == []


def test_two_paths_of_one_key_are_refused(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def colliding(_engine: object, _seed: bytes, paths: pa.Array) -> pa.Table:
        numbers = pa.array([7 if path in {b"a", b"c"} else 100 + place for place, path in enumerate(paths.to_pylist())])
        return pa.table({"key_hi": numbers.cast(pa.uint64()), "key_lo": numbers.cast(pa.uint64())})

    monkeypatch.setattr(part_module, "keys_of", colliding)
    with pytest.raises(EvidenceError, match="share one key"):
        a_manifest(tmp_path, [a_row(b"a"), a_row(b"b"), a_row(b"c")])
    assert list(tmp_path.iterdir()) == []


def test_keys_that_agree_in_one_half_are_no_collision(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def alike(_engine: object, _seed: bytes, paths: pa.Array) -> pa.Table:
        lower = pa.array(range(len(paths)), pa.uint64())
        return pa.table({"key_hi": pa.array([7] * len(paths), pa.uint64()), "key_lo": lower})

    monkeypatch.setattr(part_module, "keys_of", alike)
    assert a_manifest(tmp_path, [a_row(b"a"), a_row(b"b")]).census.entries == 2


def test_every_row_bears_the_key_of_its_path(tmp_path: Path) -> None:
    manifest = a_manifest(tmp_path, [a_row(b"\xff"), a_row(b"a")])
    table = read_groups(manifest.file, [0], ["key_hi", "key_lo", "path"])
    for row in table.to_pylist():
        assert (row["key_hi"], row["key_lo"]) == keys.key_of(SEED, row["path"])


def test_no_file_bears_the_name_before_it_is_finished(tmp_path: Path) -> None:
    writer = a_writer(tmp_path)
    writer.add(a_batch(many(70_000)))
    assert not (tmp_path / "m.parquet").exists()
    writer.abandon()
    assert list(tmp_path.iterdir()) == []


def test_only_the_auditor_may_read_a_manifest(tmp_path: Path) -> None:
    manifest = a_manifest(tmp_path, [a_row(b"a"), a_row(b"0")])
    assert stat.S_IMODE(manifest.file.stat().st_mode) == 0o600


@pytest.mark.parametrize("path", [b"", b"/a", b"a/", b"a//b"])
def test_the_root_or_a_path_that_is_none_is_no_row(tmp_path: Path, path: bytes) -> None:
    with pytest.raises(EvidenceError, match="no path"):
        a_manifest(tmp_path, [a_row(path)])


def test_rows_of_another_shape_are_refused(tmp_path: Path) -> None:
    writer = a_writer(tmp_path)
    with pytest.raises(EvidenceError, match="shape"):
        writer.add(pa.record_batch({"path": pa.array([b"a"], pa.binary())}))
    writer.abandon()


def test_a_folder_that_is_not_there_is_an_error_of_ours(tmp_path: Path) -> None:
    with pytest.raises(EvidenceError, match="could not be written"):
        a_writer(tmp_path / "nowhere")


@pytest.fixture
def tiny_disk(tmp_path: Path) -> Iterator[Path]:
    folder = tmp_path / "tiny"
    folder.mkdir()
    subprocess.run(["mount", "-t", "tmpfs", "-o", "size=1m", "tmpfs", folder], check=True)
    yield folder
    subprocess.run(["umount", folder], check=True)


@pytest.mark.root
@pytest.mark.parametrize("in_order", [True, False])
def test_a_full_disk_is_said_and_leaves_no_file(tiny_disk: Path, in_order: bool) -> None:  # noqa: FBT001 - a case
    noise = np.random.default_rng(1)
    wanted = [a_row(noise.bytes(30).hex().encode(), size=n) for n in range(100_000)]
    if in_order:
        wanted.sort(key=lambda row: row.path)
    with pytest.raises(EvidenceError, match=r"disk is full|No space left"):
        a_manifest(tiny_disk, wanted)
    assert list(tiny_disk.iterdir()) == []


def test_memory_stays_bounded_while_a_million_rows_go_through(tmp_path: Path) -> None:
    program = f"""
import pyarrow as pa
from pathlib import Path
from coverage_audit.evidence.store import BATCH_SCHEMA, ManifestWriter
from tests.builders.manifests import STARTED, an_origin
writer = ManifestWriter(Path({str(tmp_path / "m.parquet")!r}), b"seed", 100_000_000, started=STARTED)
for start in range(1_000_000, 0, -50_000):  # backwards: all of it must be sorted
    numbers = range(start - 50_000, start)
    paths = pa.array([b"a-folder-of-recordings/%090d" % number for number in numbers], pa.binary())
    same = pa.array([start] * 50_000, pa.int64())
    kinds, targets = pa.array(["f"] * 50_000), pa.nulls(50_000, pa.binary())
    columns = [paths, kinds, same, same, same, targets, same, same, targets]
    writer.add(pa.record_batch(columns, schema=BATCH_SCHEMA))
assert writer.finish(an_origin(), ()).census.entries == 1_000_000
# Not ru_maxrss: that is carried over from the process that started this one, whatever it had grown to.
print(next(line.split()[1] for line in open("/proc/self/status") if line.startswith("VmHWM:")))
"""
    done = subprocess.run(
        [sys.executable, "-c", program], check=True, capture_output=True, cwd=Path(__file__).parents[3]
    )
    assert int(done.stdout) < 500_000  # KiB; the paths alone are 115 MB

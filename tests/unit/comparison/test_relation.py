from __future__ import annotations

from pathlib import Path
from typing import Any

import pyarrow as pa
import pyarrow.parquet as pq
import pytest

from coverage_audit.comparison.relation import METADATA_KEY, RAW, RelationWriter, described, read_relation
from coverage_audit.errors import ComparisonError
from tests.parts.loops import MakeVolume


def _rows(*paths: bytes) -> Any:
    values = [
        {"key_hi": 1, "key_lo": number, "path": path, "row_class": "missing", "blind": False, "o_kind": "f"}
        for number, path in enumerate(paths)
    ]
    return pa.Table.from_pylist(values, schema=RAW)


def test_what_was_written_is_read_in_order(tmp_path: Path) -> None:
    file = tmp_path / "differences.parquet"
    with RelationWriter(file, RAW, {"schema": "coverage-audit/differences/1"}) as writer:
        writer.add(_rows(b"a", b"\xff\n"))
        writer.add(_rows())
        writer.add(_rows(b"b"))

    assert writer.rows == 3
    assert [row for table in read_relation(file) for row in table["path"].to_pylist()] == [b"a", b"\xff\n", b"b"]
    assert described(file) == {"schema": "coverage-audit/differences/1"}
    assert [path.name for path in tmp_path.iterdir()] == [file.name]


def test_a_relation_without_rows_is_a_relation(tmp_path: Path) -> None:
    file = tmp_path / "differences.parquet"
    with RelationWriter(file, RAW, {}):
        pass

    assert sum(len(table) for table in read_relation(file)) == 0


def test_what_went_wrong_leaves_no_file(tmp_path: Path) -> None:
    def go_wrong() -> None:
        with RelationWriter(tmp_path / "differences.parquet", RAW, {}) as writer:
            writer.add(_rows(b"a"))
            raise KeyError("a")

    with pytest.raises(KeyError):
        go_wrong()
    assert not list(tmp_path.iterdir())


def test_a_cut_or_foreign_file_is_no_relation(tmp_path: Path) -> None:
    cut, foreign = tmp_path / "cut.parquet", tmp_path / "foreign.parquet"
    with RelationWriter(cut, RAW, {}) as writer:
        writer.add(_rows(*(b"%d" % number for number in range(1000))))
    cut.write_bytes(cut.read_bytes()[:-100])
    pq.write_table(pa.table({"path": [b"a"]}), foreign)

    for file in (cut, foreign, tmp_path / "gone.parquet"):
        with pytest.raises(ComparisonError):
            list(read_relation(file))
        with pytest.raises(ComparisonError):
            described(file)


def test_a_relation_says_what_it_is_in_its_own_key() -> None:
    assert METADATA_KEY == b"coverage_audit"


def test_a_folder_that_is_not_there_is_said(tmp_path: Path) -> None:
    with (
        pytest.raises(ComparisonError, match="cannot be written"),
        RelationWriter(tmp_path / "nowhere" / "differences.parquet", RAW, {}),
    ):
        pass


@pytest.mark.root
def test_a_full_disk_is_said_and_leaves_nothing_behind(tmp_path: Path, make_volume: MakeVolume) -> None:
    small = make_volume(tmp_path / "small", size=8).folder
    file = small / "differences.parquet"

    def fill() -> None:
        with RelationWriter(file, RAW, {}) as writer:
            for start in range(0, 3_000_000, 100_000):
                hashes = [
                    (number * 0x9E3779B97F4A7C15 % 2**64).to_bytes(8) * 2 for number in range(start, start + 50_000)
                ]
                writer.add(_rows(*hashes))

    with pytest.raises(ComparisonError, match="cannot be written"):
        fill()
    assert [path.name for path in small.iterdir()] == ["lost+found"]

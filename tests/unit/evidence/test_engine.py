from __future__ import annotations

from pathlib import Path

import pyarrow as pa
import pytest

from coverage_audit.errors import ComparisonError
from coverage_audit.evidence.engine import open_engine

SMALL = 64_000_000


def test_tables_go_in_by_name_and_come_out_as_arrow(tmp_path: Path) -> None:
    with open_engine(SMALL, tmp_path) as engine:
        table = pa.table({"path": pa.array([b"\xff", b"a"], pa.binary())})
        found = engine.query("SELECT path FROM t WHERE path <> $1", [b"a"], {"t": table})
    assert found.column("path").to_pylist() == [b"\xff"]


def test_more_rows_than_memory_are_sorted_on_disk(tmp_path: Path) -> None:
    rows = 3_000_000
    table = pa.table({"n": pa.array(range(rows, 0, -1), pa.int64()), "pad": pa.array([b"x" * 20] * rows, pa.binary())})
    with open_engine(40_000_000, tmp_path / "spill") as engine:
        last, seen = 0, 0
        for batch in engine.stream("SELECT n, pad FROM t ORDER BY n", tables={"t": table}):
            numbers = batch["n"].to_numpy()
            assert numbers[0] > last
            last, seen = int(numbers[-1]), seen + len(batch)
    assert (last, seen) == (rows, rows)


def test_no_memory_and_no_disk_is_an_error_that_says_so(tmp_path: Path) -> None:
    in_the_way = tmp_path / "file"
    in_the_way.touch()
    table = pa.table({"n": pa.array(range(3_000_000, 0, -1), pa.int64())})
    with open_engine(10_000_000, in_the_way / "spill") as engine, pytest.raises(ComparisonError, match=r"engine"):
        engine.query("SELECT n FROM t ORDER BY n", tables={"t": table})


@pytest.mark.parametrize("sql", ["SELECT * FROM read_csv('/etc/passwd')", "COPY (SELECT 1) TO '/dev/null'"])
def test_the_engine_opens_no_files(tmp_path: Path, sql: str) -> None:
    with open_engine(SMALL, tmp_path) as engine, pytest.raises(Exception, match="disabled"):
        engine.execute(sql)


def test_an_impossible_limit_is_refused(tmp_path: Path) -> None:
    with pytest.raises(ComparisonError), open_engine(-1, tmp_path):
        pass

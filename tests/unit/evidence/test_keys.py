from __future__ import annotations

import hashlib
from collections.abc import Iterator
from pathlib import Path

import pyarrow as pa
import pytest

from coverage_audit.errors import EvidenceError
from coverage_audit.evidence import keys
from coverage_audit.evidence.engine import Engine, open_engine
from coverage_audit.evidence.keys import key_of, keys_of


@pytest.fixture
def engine(tmp_path: Path) -> Iterator[Engine]:
    with open_engine(64_000_000, tmp_path) as opened:
        yield opened


def test_keys_made_in_bulk_are_those_of_hashlib(engine: Engine) -> None:
    paths = [b"a", b"\xff\xfe", b"new\nline", b"x" * 4000, "Möwe".encode(), b"'; DROP TABLE paths --"]
    found = keys_of(engine, b"seed", pa.array(paths, pa.binary()))
    assert [tuple(row.values()) for row in found.to_pylist()] == [key_of(b"seed", path) for path in paths]


def test_a_key_is_the_little_endian_md5_of_seed_and_path() -> None:
    upper, lower = key_of(b"seed", b"path")
    assert (
        lower.to_bytes(8, "little") + upper.to_bytes(8, "little")
        == hashlib.md5(b"seedpath", usedforsecurity=False).digest()
    )


def test_other_seeds_make_other_keys() -> None:
    assert key_of(b"one", b"path") != key_of(b"two", b"path")


def test_no_paths_have_no_keys(engine: Engine) -> None:
    assert keys_of(engine, b"seed", pa.array([], pa.binary())).num_rows == 0


def test_an_engine_that_hashes_otherwise_is_found_out(engine: Engine, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(keys, "_SQL", keys._SQL.replace("$1 || path", "path || $1"))
    with pytest.raises(EvidenceError, match="differently"):
        keys_of(engine, b"seed", pa.array([b"a"], pa.binary()))

from __future__ import annotations

import hashlib
import json
from pathlib import Path

import pyarrow as pa
import pyarrow.parquet as pq
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from coverage_audit.errors import EvidenceError
from coverage_audit.evidence.store import RowReader, open_manifest, rows
from coverage_audit.evidence.store.footer import DIGEST_KEY
from coverage_audit.evidence.store.layout import FOOTER_KEY
from tests.builders.manifests import a_folder, a_link, a_manifest, a_row


@pytest.fixture(scope="module")
def whole(tmp_path_factory: pytest.TempPathFactory) -> tuple[bytes, list[object]]:
    some = [a_folder(b"d"), *(a_row(b"d/%03d" % number, size=number) for number in range(40)), a_link(b"l", b"d")]
    file = a_manifest(tmp_path_factory.mktemp("whole"), some).file
    return file.read_bytes(), list(rows(file))


# Trap: a truncated listing taken for a small tree.
def test_a_file_cut_anywhere_is_no_manifest(whole: tuple[bytes, list[object]], tmp_path: Path) -> None:
    content, _ = whole
    cut = tmp_path / "cut.parquet"
    for length in range(len(content)):
        cut.write_bytes(content[:length])
        with pytest.raises(EvidenceError):
            open_manifest(cut)


@settings(deadline=None, max_examples=400, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(place=st.integers(0), bit=st.integers(0, 7))
def test_a_flipped_bit_never_yields_other_rows(
    whole: tuple[bytes, list[object]], tmp_path: Path, place: int, bit: int
) -> None:
    content, wanted = whole
    damaged = bytearray(content)
    damaged[place % len(content)] ^= 1 << bit
    file = tmp_path / "damaged.parquet"
    file.write_bytes(damaged)
    try:
        manifest = open_manifest(file)
        found = list(rows(file))
    except EvidenceError:
        return
    assert found == wanted
    assert manifest.census.entries == len(wanted)


def test_bytes_behind_the_end_are_refused(whole: tuple[bytes, list[object]], tmp_path: Path) -> None:
    file = tmp_path / "longer.parquet"
    file.write_bytes(whole[0] + b"more")
    with pytest.raises(EvidenceError):
        open_manifest(file)


def test_a_file_that_is_missing_or_empty_or_foreign_is_refused(tmp_path: Path) -> None:
    empty, foreign = tmp_path / "empty", tmp_path / "foreign.parquet"
    empty.touch()
    pq.write_table(pa.table({"path": [b"a"]}), foreign)
    for file in (tmp_path / "missing", empty, foreign, tmp_path):
        with pytest.raises(EvidenceError, match="manifest"):
            open_manifest(file)


def rewritten(file: Path, **changes: object) -> Path:
    """Write a manifest anew with another description, under a digest that agrees with it."""
    table = pq.read_table(file)
    said = json.loads(pq.read_metadata(file).metadata[FOOTER_KEY]) | changes
    text = json.dumps(said).encode()
    digest = hashlib.sha256(text).hexdigest().encode()
    table = table.replace_schema_metadata({FOOTER_KEY: text, DIGEST_KEY: digest})
    other = file.with_name("other.parquet")
    pq.write_table(table, other)
    return other


def test_a_manifest_of_a_newer_version_is_refused_by_name(tmp_path: Path) -> None:
    file = rewritten(a_manifest(tmp_path, [a_row(b"a")]).file, schema="coverage-audit/manifest/3")
    with pytest.raises(EvidenceError, match="manifest/3"):
        open_manifest(file)


def test_a_description_of_fewer_rows_than_there_are_is_refused(tmp_path: Path) -> None:
    manifest = a_manifest(tmp_path, [a_row(b"a"), a_row(b"b")])
    with RowReader(manifest.file) as reader:
        assert len(reader.groups) == 1
    with pytest.raises(EvidenceError, match="groups"):
        open_manifest(rewritten(manifest.file, groups=[]))


def test_groups_are_read_in_the_order_asked_for_with_the_columns_asked_for(tmp_path: Path) -> None:
    manifest = a_manifest(tmp_path, (a_row(b"%06d" % number, size=number) for number in range(30_000)))
    with RowReader(manifest.file) as reader:
        last = len(reader.groups) - 1
        table = reader.read([last, 0], ["size"])
        assert table.column_names == ["size"]
        assert table["size"][reader.groups[last].rows].as_py() == 0

"""Files of the first version, written here as that version wrote them: ledgers hold them."""

from __future__ import annotations

import hashlib
import json
from pathlib import Path
from typing import Any

import pyarrow as pa
import pyarrow.parquet as pq

from coverage_audit.evidence.keys import key_of
from coverage_audit.evidence.manifest import CompleteManifest, Row
from coverage_audit.evidence.order import tree_key
from coverage_audit.evidence.store import RowReader, group_index, open_manifest, rows, seed_id
from tests.builders.manifests import MTIME, SEED, a_folder, a_link, a_manifest, a_row

COLUMNS = pa.schema(
    [
        pa.field("key_hi", pa.uint64(), nullable=False),
        pa.field("key_lo", pa.uint64(), nullable=False),
        pa.field("path", pa.binary(), nullable=False),
        pa.field("kind", pa.string(), nullable=False),
        pa.field("size", pa.int64(), nullable=False),
        pa.field("mtime_ns", pa.int64(), nullable=False),
        pa.field("ctime_ns", pa.int64()),
        pa.field("target", pa.binary()),
    ]
)
LISTED = [a_folder(b"d"), a_row(b"d/a", size=7), a_link(b"l", b"d/a")]


def digest_over(listed: list[Row], names: tuple[str, ...]) -> str:
    """The digest of a group: column by column which are null, how long each value is, then the values."""
    total = hashlib.sha256()
    for name in names:
        values: list[Any] = [getattr(row, name) for row in listed]
        nulls = [place for place, value in enumerate(values) if value is None]
        total.update(b"".join(place.to_bytes(8, "little") for place in nulls))
        if name.endswith("_ns") or name == "size":
            total.update(b"".join((value or 0).to_bytes(8, "little", signed=True) for value in values))
        else:
            octets = [value.encode() if isinstance(value, str) else value or b"" for value in values]
            total.update(b"".join(len(value).to_bytes(4, "little") for value in octets) + b"".join(octets))
    return total.hexdigest()


def a_first_manifest(folder: Path, listed: list[Row]) -> Path:
    """A small file of the first version."""
    listed = sorted(listed, key=lambda row: tree_key(row.path))
    files = [row for row in listed if row.kind != "d"]
    size = sum(row.size for row in listed if row.kind == "f")
    group = {
        "first": listed[0].path.hex(),
        "rows": len(listed),
        "files": len(files),
        "bytes": size,
        "digest": digest_over(listed, ("path", "kind", "size", "mtime_ns", "target")),
        "ctimes_digest": digest_over(listed, ("ctime_ns",)),
        "newest_mtime_ns": MTIME,
    }
    said = {
        "schema": "coverage-audit/manifest/1",
        "origin": {
            "device": "kestrel",
            "volume": "main",
            "path": "recordings",
            "root": "/srv/main/recordings",
            "how": "scandir",
            "started": "2026-11-25T04:10:00+00:00",
            "finished": "2026-11-25T04:13:00+00:00",
            "precision_ns": 1,
            "lacks": [],
            "clock_offset_us": 0,
            "filesystem_uuid": "6c2e1f0a-1111-4222-8333-444455556666",
            "filesystem_type": "ext4",
        },
        "census": {
            "entries": len(listed),
            "files": len(files),
            "bytes": size,
            "granularity_ns": 1,
            "newest_mtime_ns": MTIME,
            "newest_ctime_ns": MTIME,
            "odd_times": 0,
        },
        "blind": [],
        "seed_id": seed_id(SEED),
        "groups": [group],
    }
    text = json.dumps(said).encode()
    keys = [key_of(SEED, row.path) for row in listed]
    own = [[getattr(row, name) for row in listed] for name in COLUMNS.names[2:]]
    columns = [[key[0] for key in keys], [key[1] for key in keys], *own]
    arrays = [pa.array(values, field.type) for values, field in zip(columns, COLUMNS, strict=True)]
    metadata = {b"coverage_audit": text, b"coverage_audit_sha256": hashlib.sha256(text).hexdigest().encode()}
    file = folder / "first.parquet"
    pq.write_table(pa.table(arrays, schema=COLUMNS.with_metadata(metadata)), file, write_page_checksum=True)
    return file


def test_a_file_of_the_first_version_is_read_with_what_it_lacks_as_not_shown(tmp_path: Path) -> None:
    file = a_first_manifest(tmp_path, LISTED)
    manifest = open_manifest(file)
    assert isinstance(manifest, CompleteManifest)
    assert (manifest.census.hollow, manifest.census.linked, manifest.census.digested) == (0, 0, 0)
    assert manifest.origin.digest is None
    assert list(rows(file)) == LISTED


def test_its_later_columns_are_null_wherever_they_are_asked_for(tmp_path: Path) -> None:
    with RowReader(a_first_manifest(tmp_path, LISTED)) as reader:
        table = reader.read([0], ["digest", "size", "blocks"])
        assert table.to_pylist() == [{"digest": None, "size": size, "blocks": None} for size in (0, 7, 3)]
        assert reader.read([], ["links"])["links"].type == pa.int64()
        assert reader.twin().read([0], ["links"])["links"].null_count == len(LISTED)


def test_its_groups_are_equal_to_those_of_a_new_file_without_content_digests(tmp_path: Path) -> None:
    listed = [row if row.kind != "f" else a_row(row.path, size=row.size, blocks=8, links=1) for row in LISTED]
    (old,) = group_index(a_first_manifest(tmp_path, LISTED))
    (new,) = group_index(a_manifest(tmp_path, listed).file)
    assert (old.digest, old.ctimes_digest) == (new.digest, new.ctimes_digest)

"""How a manifest lies in its Parquet file: columns, encodings, where row groups are cut, what a group says of itself.

Version 2. Rows in tree order; a new group starts before a row whose `key_lo` is a multiple of 8192, so that
the cuts of two listings of like trees fall on like paths; never under 1024 rows, never over 65536.
Version 1 had not the columns `LATER`; its files are still read.
"""

from __future__ import annotations

from dataclasses import dataclass

import pyarrow as pa

SCHEMA_NAME = "coverage-audit/manifest/2"
FIRST_SCHEMA_NAME = "coverage-audit/manifest/1"
FOOTER_KEY = b"coverage_audit"

CUT_EVERY = 8192
LEAST_ROWS = 1024
MOST_ROWS = 65536

BATCH_SCHEMA = pa.schema(
    [
        pa.field("path", pa.binary(), nullable=False),
        pa.field("kind", pa.string(), nullable=False),
        pa.field("size", pa.int64(), nullable=False),
        pa.field("mtime_ns", pa.int64(), nullable=False),
        pa.field("ctime_ns", pa.int64()),
        pa.field("target", pa.binary()),
        pa.field("blocks", pa.int64()),
        pa.field("links", pa.int64()),
        pa.field("digest", pa.binary()),
    ]
)
"""What a collector hands over: one record batch, rows in any order."""

ROW_SCHEMA = pa.schema(
    [pa.field("key_hi", pa.uint64(), nullable=False), pa.field("key_lo", pa.uint64(), nullable=False), *BATCH_SCHEMA]
)
"""What a file holds."""

LATER = ("blocks", "links", "digest")
"""Columns that a file of version 1 has not: they read as null."""

FIRST_ROW_SCHEMA = pa.schema([field for field in ROW_SCHEMA if field.name not in LATER])
"""What a file of version 1 holds."""

ENCODINGS = {
    "key_hi": "PLAIN",
    "key_lo": "PLAIN",
    "path": "DELTA_BYTE_ARRAY",
    "size": "DELTA_BINARY_PACKED",
    "mtime_ns": "DELTA_BINARY_PACKED",
    "ctime_ns": "DELTA_BINARY_PACKED",
    "blocks": "DELTA_BINARY_PACKED",
}
COMPRESSION = {name: "NONE" if name.startswith("key_") else "ZSTD" for name in ROW_SCHEMA.names}
DICTIONARIES = ["kind", "target", "links"]


@dataclass(frozen=True, kw_only=True)
class Group:
    """One row group, as the footer describes it.

    `files` and `bytes` are as in Census (entries that are no folders; sizes of regular files). `digest` is SHA-256
    over path, kind, size, mtime, target and content digest of its rows in order, `ctimes_digest` over their ctimes:
    equal digests mean equal rows (but for blocks and links). Where no row has a content digest, `digest` is what
    version 1 wrote. `newest_mtime_ns` is over regular files whose time is not odd, None without any. `hollow` and
    `digested` are as in Census.
    """

    first: bytes
    digest: bytes
    ctimes_digest: bytes
    rows: int
    files: int
    bytes: int
    newest_mtime_ns: int | None
    hollow: int = 0
    digested: int = 0

"""Manifests out of a few rows, written through the real store."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any
from uuid import uuid4

import pyarrow as pa

from coverage_audit.estate.model import Address, DeviceId, VolumeId, VolumeKey
from coverage_audit.evidence.manifest import Blind, Kind, Manifest, Origin, Row
from coverage_audit.evidence.store import BATCH_SCHEMA, ManifestWriter

SEED = b"a seed for tests"
STARTED = datetime(2026, 11, 25, 4, 10, tzinfo=UTC)
MEMORY = 256_000_000
DAY_NS = 86_400 * 10**9
MTIME = int(STARTED.timestamp()) * 10**9 - 30 * DAY_NS + 123_456_789


def a_row(path: bytes, **values: Any) -> Row:
    """A regular file of 100 bytes, a month old, unless said otherwise."""
    wanted: dict[str, Any] = {"kind": Kind.FILE, "size": 100, "mtime_ns": MTIME, "ctime_ns": MTIME, "target": None}
    return Row(path=path, **{**wanted, **values})


def a_folder(path: bytes, **values: Any) -> Row:
    """A folder."""
    return a_row(path, **{"kind": Kind.FOLDER, "size": 0, **values})


def a_link(path: bytes, target: bytes, **values: Any) -> Row:
    """A symbolic link."""
    return a_row(path, **{"kind": Kind.LINK, "size": len(target), "target": target, **values})


def an_origin(**values: Any) -> Origin:
    """Field recordings on kestrel, listed at STARTED in three minutes, unless said otherwise."""
    key = VolumeKey(device=DeviceId("kestrel"), volume=VolumeId("main"))
    started = values.get("started", STARTED)
    wanted: dict[str, Any] = {
        "address": Address(volume=key, path="recordings"),
        "root": "/srv/main/recordings",
        "how": "scandir",
        "started": started,
        "finished": started + timedelta(minutes=3),
        "clock_offset": timedelta(0),
        "filesystem_uuid": "6c2e1f0a-1111-4222-8333-444455556666",
        "filesystem_type": "ext4",
    }
    return Origin(**{**wanted, **values})


def a_batch(rows: Iterable[Row]) -> Any:
    """Rows as collectors hand them over."""
    columns: dict[str, list[object]] = {name: [] for name in BATCH_SCHEMA.names}
    for row in rows:
        for name, values in columns.items():
            values.append(getattr(row, name))
    return pa.record_batch([pa.array(columns[field.name], field.type) for field in BATCH_SCHEMA], schema=BATCH_SCHEMA)


def a_manifest(
    folder: Path, rows: Iterable[Row], *, blind: Sequence[Blind] = (), seed: bytes = SEED, **origin: Any
) -> Manifest:
    """Write rows (in any order) into a new manifest in `folder`; partial where `blind` is given."""
    said = an_origin(**origin)
    writer = ManifestWriter(folder / f"{uuid4().hex}.parquet", seed, MEMORY, started=said.started)
    writer.add(a_batch(rows))
    return writer.finish(said, blind)

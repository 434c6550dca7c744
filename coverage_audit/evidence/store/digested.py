"""A manifest written once more with the digests of its files' content."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from pathlib import Path

import pyarrow as pa

from coverage_audit.evidence.manifest import Manifest, Origin, PartialManifest
from coverage_audit.evidence.store.layout import BATCH_SCHEMA
from coverage_audit.evidence.store.reading import RowReader
from coverage_audit.evidence.store.writing import ManifestWriter

DigestsOf = Callable[[Sequence[tuple[bytes, int, int]]], Sequence[bytes | None]]
"""Gives a digest (None: there is none) for each (path, size, mtime in ns)."""


def with_digests(
    manifest: Manifest, file: Path, seed: bytes, memory_limit: int, *, origin: Origin, digests_of: DigestsOf
) -> Manifest:
    """Write the manifest's rows to `file` with what `digests_of` says of its regular files; `origin` is its own then.

    Raises EvidenceError where it cannot be read or written; nothing is left then.
    """
    writer = ManifestWriter(file, seed, memory_limit, started=origin.started)
    try:
        with RowReader(manifest.file) as reader:
            for number in range(len(reader.groups)):
                table = reader.read([number], BATCH_SCHEMA.names)
                kinds, paths, sizes, mtimes = (table[name].to_pylist() for name in ("kind", "path", "size", "mtime_ns"))
                places = [place for place, kind in enumerate(kinds) if kind == "f"]
                found = digests_of([(paths[place], sizes[place], mtimes[place]) for place in places])
                column: list[bytes | None] = [None] * len(table)
                for place, digest in zip(places, found, strict=True):
                    column[place] = digest
                table = table.set_column(
                    BATCH_SCHEMA.get_field_index("digest"), "digest", pa.array(column, pa.binary())
                )
                for batch in table.cast(BATCH_SCHEMA).to_batches():
                    writer.add(batch)
        return writer.finish(origin, manifest.blind if isinstance(manifest, PartialManifest) else ())
    except BaseException:
        writer.abandon()
        raise

"""A manifest keyed again: its rows written anew under this ledger's seed, each looked at as if a stranger had sent it.

A manifest that was made elsewhere has keys of another seed, by which its paths meet nothing here. That its pages agree
with their checksums says that it was not damaged, and nothing of who wrote it.
"""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

from coverage_audit.errors import EvidenceError
from coverage_audit.evidence.manifest import Census, Kind, Manifest, Origin, PartialManifest
from coverage_audit.evidence.store.columns import integers
from coverage_audit.evidence.store.counting import STEPS_NS
from coverage_audit.evidence.store.layout import BATCH_SCHEMA, MOST_ROWS
from coverage_audit.evidence.store.reading import RowReader
from coverage_audit.evidence.store.writing import ManifestWriter

_KINDS = frozenset(kind.value for kind in Kind)
_PRECISIONS = frozenset({1, *STEPS_NS})


def keyed_again(manifest: Manifest, file: Path, seed: bytes, memory_limit: int, *, origin: Origin) -> Manifest:
    """Write a manifest's rows to `file` under another seed, and `origin` in the place of its own.

    Raises EvidenceError for rows that are none, or that do not add up to what it says of itself; nothing is left then.
    """
    if origin.precision_ns not in _PRECISIONS:
        raise EvidenceError(f"the manifest of {origin.address} keeps times in steps of {origin.precision_ns} ns")
    writer = ManifestWriter(file, seed, memory_limit, started=origin.started)
    try:
        for table in _checked(manifest, origin):
            for batch in table.cast(BATCH_SCHEMA).to_batches():
                writer.add(batch)
        again = writer.finish(origin, manifest.blind if isinstance(manifest, PartialManifest) else ())
    except BaseException:
        writer.abandon()
        raise
    if _sums(again.census) != _sums(manifest.census):
        file.unlink(missing_ok=True)
        raise EvidenceError(f"the manifest of {origin.address} does not add up to what it says of itself")
    return again


def _checked(manifest: Manifest, origin: Origin) -> Iterator[Any]:
    """Give the rows group by group. Raises EvidenceError for what no listing holds."""
    with RowReader(manifest.file) as reader:
        for number, group in enumerate(reader.groups):
            if group.rows > MOST_ROWS:  # before it is read
                raise EvidenceError(f"the manifest of {origin.address} has a group of {group.rows} rows")
            table = reader.read([number], BATCH_SCHEMA.names)
            for strange in _strange(table):
                raise EvidenceError(f"the manifest of {origin.address} holds {strange}")
            yield table


def _strange(table: Any) -> Iterator[str]:
    """Say what no listing holds."""
    if not set(table["kind"].unique().to_pylist()) <= _KINDS:
        yield "an entry of no known kind"
    if len(table) > 0 and integers(table["size"]).min() < 0:
        yield "a size below zero"
    if any(map(_leads_out, table["path"].to_pylist())):
        yield "a path that is none"


def _leads_out(path: bytes) -> bool:
    return any(part in {b".", b".."} for part in path.split(b"/"))


def _sums(census: Census) -> tuple[int, int, int]:
    return census.entries, census.files, census.bytes

"""Digests that were made now, put among those of earlier readings: a new file, written beside the old one."""

from __future__ import annotations

import contextlib
import errno
import os
from bisect import bisect_right
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import replace
from datetime import datetime
from pathlib import Path
from typing import Any, Final

import pyarrow as pa
import pyarrow.compute as pc
import pyarrow.parquet as pq

from coverage_audit.errors import EvidenceError
from coverage_audit.evidence.content import DigestsAdded, HashedFile, StoredDigest, Turned
from coverage_audit.evidence.durable import bring_to_disk
from coverage_audit.evidence.store.digests import DIGESTS_SCHEMA, DigestsFile, metadata_of, reading_digests

_GROUP: Final = 65536  # rows
_ENCODINGS: Final = {
    "path": "DELTA_BYTE_ARRAY",
    "size": "DELTA_BINARY_PACKED",
    "mtime_ns": "DELTA_BINARY_PACKED",
    "ctime_ns": "DELTA_BINARY_PACKED",
    "digest": "PLAIN",
}


def add_digests(before: Path | None, file: Path, said: DigestsFile, hashed: Sequence[HashedFile]) -> DigestsAdded:
    """Write `file` with the rows of `before` and what was hashed at `said.added_at`.

    `before` may be `file` itself. A path counts once, the last of two. Raises EvidenceError; then `file` is as it was.
    """
    merging = _Merging(hashed, said.algorithm, said.added_at)
    part = file.with_name(file.name + ".part")
    try:
        _write(part, _merged(before, merging), said)
        bring_to_disk(part)
        part.rename(file)
        bring_to_disk(file.parent)
    except (OSError, pa.ArrowException) as error:
        if getattr(error, "errno", None) == errno.ENOSPC:
            raise EvidenceError(f"The disk is full: the digests of {said.address} were not kept.") from error
        raise EvidenceError(f"The digests of {said.address} could not be written to {file}: {error}") from error
    finally:
        with contextlib.suppress(OSError):
            part.unlink(missing_ok=True)
    return DigestsAdded(decayed=tuple(merging.decayed), rewritten=tuple(merging.rewritten))


def _merged(before: Path | None, merging: _Merging) -> Iterator[Any]:
    """Yield tables of all rows in byte order of path: what was there, group by group, with what is new among it."""
    if before is not None:
        with reading_digests(before) as (parquet, _):
            for number in range(parquet.num_row_groups):
                yield merging.among(parquet.read_row_group(number, use_threads=False))
    yield merging.rest()


def _write(part: Path, tables: Iterable[Any], said: DigestsFile) -> None:
    os.close(os.open(part, os.O_CREAT | os.O_TRUNC | os.O_WRONLY, 0o600))
    groups: list[tuple[bytes, int]] = []
    with pq.ParquetWriter(
        part,
        DIGESTS_SCHEMA,
        compression="ZSTD",
        use_dictionary=["hashed_at", "again_at"],
        column_encoding=_ENCODINGS,
        write_statistics=False,
        write_page_checksum=True,
    ) as writer:
        for table in _in_groups(tables):
            writer.write_table(table, row_group_size=_GROUP)
            groups.append((table["path"][0].as_py(), len(table)))
        writer.add_key_value_metadata(metadata_of(replace(said, groups=tuple(groups))))


def _in_groups(tables: Iterable[Any]) -> Iterator[Any]:
    """Yield the rows again, in tables that each make one row group."""
    waiting = DIGESTS_SCHEMA.empty_table()
    for table in tables:
        waiting = pa.concat_tables([waiting, table.cast(DIGESTS_SCHEMA)])
        while len(waiting) >= _GROUP:
            yield waiting.slice(0, _GROUP).combine_chunks()
            waiting = waiting.slice(_GROUP)
    if len(waiting):
        yield waiting.combine_chunks()


class _Merging:
    """What is new, handed out among what was there; it notes which files have another content than before."""

    def __init__(self, hashed: Sequence[HashedFile], algorithm: str, at: datetime) -> None:
        self._new = {one.path: one for one in hashed}
        self._paths = sorted(self._new)
        self._done = 0
        self._algorithm = algorithm
        self._at = at
        self.decayed: list[Turned] = []
        self.rewritten: list[Turned] = []

    def among(self, table: Any) -> Any:
        """Return the rows of a group, with all that is new up to its last path."""
        coming = self._until(table["path"][-1].as_py()) if len(table) else []
        if not coming:
            return table
        is_met = pc.is_in(table["path"], pa.array(coming, pa.binary()))
        met = {row["path"]: row for row in table.filter(is_met).to_pylist()}
        kept = table.filter(pc.invert(is_met))
        both = pa.concat_tables([kept, self._rows(coming, met)])
        return both.sort_by("path")

    def rest(self) -> Any:
        """Return what lies behind everything that was there."""
        coming, self._done = self._paths[self._done :], len(self._paths)
        return self._rows(coming, {})

    def _until(self, last: bytes) -> list[bytes]:
        end = bisect_right(self._paths, last)
        coming, self._done = self._paths[self._done : end], end
        return coming

    def _rows(self, paths: Sequence[bytes], met: Mapping[bytes, Mapping[str, Any]]) -> Any:
        rows = [self._row(self._new[path], met.get(path)) for path in paths]
        return pa.Table.from_pylist(rows, schema=DIGESTS_SCHEMA)

    def _row(self, now: HashedFile, met: Mapping[str, Any] | None) -> dict[str, Any]:
        new = {
            "path": now.path,
            "size": now.size,
            "mtime_ns": now.mtime_ns,
            "ctime_ns": now.ctime_ns,
            "digest": now.digest,
            "hashed_at": self._at,
            "again_at": self._at,
        }
        if met is None:
            return new
        before = StoredDigest(algorithm=self._algorithm, **met)
        if before.digest == now.digest:
            ctime = now.ctime_ns if now.ctime_ns is not None or not before.stands_for(now) else before.ctime_ns
            return {**new, "hashed_at": before.hashed_at, "ctime_ns": ctime}
        if before.stands_for(now):
            self.decayed.append(Turned(before=before, now=now))
            return dict(met)
        if (before.size, before.mtime_ns) == (now.size, now.mtime_ns):
            self.rewritten.append(Turned(before=before, now=now))
        return new

"""Digests of one tree on disk, apart from any listing: a Parquet file of one algorithm, rows in byte order of path.

It is written whole and read whole; pages bear checksums. Columns: path, size, mtime_ns, ctime_ns (null: not shown),
digest, hashed_at (first read with it), again_at (last read, and the same).
"""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import datetime
from itertools import pairwise
from pathlib import Path
from typing import Any, Final

import pyarrow as pa
import pyarrow.compute as pc
import pyarrow.parquet as pq

from coverage_audit.errors import EvidenceError
from coverage_audit.estate.model import Address, DeviceId, VolumeId, VolumeKey
from coverage_audit.evidence.content import Figures, StoredDigest
from coverage_audit.evidence.store.footer import sealed, unsealed

DIGESTS_NAME: Final = "coverage-audit/digests/1"
DIGESTS_SCHEMA: Final = pa.schema(
    [
        pa.field("path", pa.binary(), nullable=False),
        pa.field("size", pa.int64(), nullable=False),
        pa.field("mtime_ns", pa.int64(), nullable=False),
        pa.field("ctime_ns", pa.int64()),
        pa.field("digest", pa.binary(), nullable=False),
        pa.field("hashed_at", pa.timestamp("us", "UTC"), nullable=False),
        pa.field("again_at", pa.timestamp("us", "UTC"), nullable=False),
    ]
)
"""What a file holds."""


@dataclass(frozen=True, kw_only=True)
class DigestsFile:
    """What a file of digests says of itself: whose they are, by which algorithm, and when any were last added.

    `groups` are its row groups: the first path of each, and how many rows it has.
    """

    address: Address
    algorithm: str
    added_at: datetime
    groups: tuple[tuple[bytes, int], ...] = ()


@dataclass(frozen=True, kw_only=True)
class StoredDigests:
    """The digests remembered of one tree, by one algorithm. `file` is None where there are none.

    `damaged` says that there were some and that they cannot be read (None: nothing is amiss). Its methods raise
    EvidenceError where the file turns out to be damaged further in.
    """

    algorithm: str
    file: Path | None = None
    damaged: str | None = None

    def find(self, paths: Iterable[bytes]) -> Mapping[bytes, StoredDigest]:
        """Return what is remembered of these paths, whatever lies there now."""
        wanted = sorted(set(paths))
        if self.file is None or not wanted:
            return {}
        with reading_digests(self.file) as (parquet, said):
            return {
                row["path"]: StoredDigest(algorithm=self.algorithm, **row)
                for number, there in enumerate(_within(said.groups, wanted))
                if there
                for row in _rows_of(parquet.read_row_group(number, use_threads=False), there)
            }

    def standing(self, files: Iterable[Figures]) -> Mapping[bytes, StoredDigest]:
        """Return the digests that stand for these files as they are listed now; the others are as if never read."""
        listed = {file.path: file for file in files}
        return {path: found for path, found in self.find(listed).items() if found.stands_for(listed[path])}

    def batches(self) -> Iterator[Any]:
        """Yield all rows as Arrow record batches of DIGESTS_SCHEMA, in byte order of path."""
        if self.file is not None:
            with reading_digests(self.file) as (parquet, _):
                yield from parquet.iter_batches(use_threads=False)


@contextmanager
def reading_digests(file: Path) -> Iterator[tuple[Any, DigestsFile]]:
    """Open a file of digests: (Parquet file, what it says). Raises EvidenceError, also for what is read within."""
    try:
        # Read ahead, batches would hold all of the file that was read so far.
        with pq.ParquetFile(file, pre_buffer=False, page_checksum_verification=True) as parquet:
            yield parquet, _said(parquet)
    except EvidenceError as error:
        raise EvidenceError(f"The digests in {file} cannot be used: {error}.") from error
    except (pa.ArrowException, OSError, ValueError, KeyError, TypeError) as error:
        raise EvidenceError(f"The digests in {file} cannot be read: {error}") from error


def metadata_of(said: DigestsFile) -> dict[bytes, bytes]:
    """Write what a file says of itself as Parquet metadata."""
    return sealed(
        {
            "schema": DIGESTS_NAME,
            "device": said.address.volume.device,
            "volume": said.address.volume.volume,
            "path": said.address.path,
            "algorithm": said.algorithm,
            "added_at": said.added_at.isoformat(),
            "groups": [[first.hex(), rows] for first, rows in said.groups],
        }
    )


def _said(parquet: Any) -> DigestsFile:
    said = unsealed(parquet.metadata.metadata or {})
    if said.get("schema") != DIGESTS_NAME:
        raise EvidenceError(f"it is written as {said.get('schema')!r}, this version reads {DIGESTS_NAME!r}")
    groups = tuple((bytes.fromhex(first), rows) for first, rows in said["groups"])
    found = [parquet.metadata.row_group(number).num_rows for number in range(parquet.metadata.num_row_groups)]
    if not parquet.schema_arrow.remove_metadata().equals(DIGESTS_SCHEMA) or found != [rows for _, rows in groups]:
        raise EvidenceError("its rows are not those that it describes")
    key = VolumeKey(device=DeviceId(said["device"]), volume=VolumeId(said["volume"]))
    return DigestsFile(
        address=Address(volume=key, path=said["path"]),
        algorithm=said["algorithm"],
        added_at=datetime.fromisoformat(said["added_at"]),
        groups=groups,
    )


def _within(groups: Sequence[tuple[bytes, int]], wanted: Sequence[bytes]) -> Iterator[Sequence[bytes]]:
    """Yield which of the sorted paths each group may hold."""
    cuts = [*(bisect_left(wanted, first) for first, _ in groups), len(wanted)]
    for start, end in pairwise(cuts):
        yield wanted[start:end]


def _rows_of(table: Any, wanted: Sequence[bytes]) -> list[dict[str, Any]]:
    if table["digest"].null_count or table["path"].null_count:
        raise EvidenceError("a row has no path or no digest")
    found: list[dict[str, Any]] = table.filter(pc.is_in(table["path"], pa.array(wanted, pa.binary()))).to_pylist()
    return found

"""Rows that a manifest of somebody else's lists: kept as columns, one value a row, until they become a record batch."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
import pyarrow as pa

from coverage_audit.evidence.batches.rows import batch_of

_IN_A_BATCH: Final = 65536


@dataclass(frozen=True, kw_only=True)
class ListedColumns:
    """Columns of equal length. `kinds` are a manifest's letters; sizes in bytes, mtimes in ns since 1970 UTC.

    `targets` and `digests` are None where a row has none; `links` is None where the listing does not count them.
    """

    kinds: bytes
    paths: Sequence[bytes]
    sizes: Sequence[int]
    mtimes: Sequence[int]
    targets: Sequence[bytes | None]
    digests: Sequence[bytes | None]
    links: Sequence[int] | None = None


def listed_rows(columns: ListedColumns) -> Iterator[Any]:
    """Yield record batches of `evidence.store.BATCH_SCHEMA`, in the order of the listing."""
    for start in range(0, len(columns.kinds), _IN_A_BATCH):
        yield _batch(columns, slice(start, start + _IN_A_BATCH))


def _batch(columns: ListedColumns, part: slice) -> Any:
    letters = np.frombuffer(columns.kinds[part], np.uint8)
    return batch_of(
        letters,
        pa.array(columns.paths[part], pa.binary()),
        (
            np.asarray(columns.sizes[part], np.int64),
            np.asarray(columns.mtimes[part], np.int64),
            pa.nulls(len(letters), pa.int64()),
        ),
        pa.array(columns.targets[part], pa.binary()),
        links=None if columns.links is None else np.asarray(columns.links[part], np.int64),
        digests=pa.array(columns.digests[part], pa.binary()),
    )

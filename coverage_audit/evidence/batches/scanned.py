"""Rows as the local walkers send them: paths ended by NUL, the numbers of lstat side by side, the targets of links."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from coverage_audit.errors import EvidenceError
from coverage_audit.evidence.batches.rows import batch_of, kinds_of_modes


def scanned_rows(paths: bytes, numbers: bytes, width: int, targets: Sequence[bytes]) -> Any:
    """Return a record batch.

    Of the `width` numbers of an entry the first are mode, size, mtime and ctime in ns, blocks and
    links. Raises EvidenceError where the parts do not belong together.
    """
    table = np.frombuffer(numbers, np.int64).reshape(-1, width)
    ends = np.flatnonzero(np.frombuffer(paths, np.uint8) == 0) + 1
    kinds = kinds_of_modes(table[:, 0])
    links = kinds == ord("l")
    if len(ends) != len(table) or int(links.sum()) != len(targets):
        raise EvidenceError("a block of the local walk holds more of one part than of another")
    offsets = np.concatenate((np.zeros(1, np.int32), ends.astype(np.int32)))
    fields = pa.Array.from_buffers(pa.binary(), len(ends), [None, pa.py_buffer(offsets), pa.py_buffer(paths)])
    places = pa.array(np.cumsum(links) - 1, pa.int64(), mask=~links)
    return batch_of(
        kinds,
        pc.binary_slice(fields, 0, -1),
        (table[:, 1], table[:, 2], table[:, 3]),
        pa.array(targets, pa.binary()).take(places),
        blocks=table[:, 4],
        links=table[:, 5],
    )

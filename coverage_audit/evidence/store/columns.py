"""Arrow columns as plain buffers, for arithmetic without a Python object a row."""

from __future__ import annotations

from typing import Any

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc


def single(column: Any) -> Any:
    """Return a column as one contiguous array."""
    return column.combine_chunks() if isinstance(column, pa.ChunkedArray) else column


def integers(column: Any) -> Any:
    """Return an integer column as a numpy array; nulls read as 0."""
    whole = single(column)
    if whole.null_count:
        whole = pc.fill_null(whole, 0)
    return whole.to_numpy(zero_copy_only=False)


def shown(column: Any) -> Any:
    """Return where a column has a value, as a numpy array of truths."""
    return single(column).is_valid().to_numpy(zero_copy_only=False)


def octets_of(column: Any) -> Any:
    """Return all bytes of a binary or string column, one value after the other; nulls have none."""
    whole = single(column)
    if whole.null_count:
        whole = pc.fill_null(whole, b"" if pa.types.is_binary(whole.type) else "")
    offsets = np.frombuffer(whole.buffers()[1], np.int32)[whole.offset : whole.offset + len(whole) + 1]
    content = whole.buffers()[2]
    return memoryview(content)[offsets[0] : offsets[-1]] if content is not None and len(whole) else memoryview(b"")

"""Tree order: the one order of rows in every manifest.

A folder comes directly before all that is in it, and siblings stand in byte order of their names. That is
the byte order of the path with every slash replaced by NUL, which no name can hold and which sorts first.
"""

from __future__ import annotations

from typing import Any

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc


def tree_key(path: bytes) -> bytes:
    """Return what to sort a path by: byte order of this is tree order."""
    return path.replace(b"/", b"\0")


def tree_keys(paths: Any) -> Any:
    """Return `tree_key` of a whole Arrow binary array, without a Python object a row."""
    offsets, octets = _parts(paths)
    keys = octets * (octets != ord("/")).view(np.uint8)
    return pa.Array.from_buffers(pa.binary(), len(paths), [None, pa.py_buffer(offsets), pa.py_buffer(keys)])


def rises(keys: Any) -> bool:
    """Whether an array of tree keys is strictly rising: in order, and no path twice."""
    if len(keys) < 2:
        return True
    return bool(pc.all(pc.less(keys.slice(0, len(keys) - 1), keys.slice(1))).as_py())


def are_paths(paths: Any, keys: Any) -> bool:
    """Whether these are paths below a root: names between single slashes, none empty. `keys` are their tree keys."""
    if not len(keys):
        return True
    offsets, octets = _parts(keys)
    if not np.diff(offsets).all():
        return False
    at_an_edge = (octets[offsets[:-1]] == 0).any() or (octets[offsets[1:] - 1] == 0).any()
    two_slashes = len(octets) > 1 and not np.maximum(octets[1:], octets[:-1]).all()
    return not at_an_edge and not two_slashes and bool(_parts(paths)[1].all())


def _parts(column: Any) -> tuple[Any, Any]:
    """Return where the values of a binary column begin and end, from 0, and their bytes one after the other."""
    offsets = np.frombuffer(column.buffers()[1], dtype=np.int32)[column.offset : column.offset + len(column) + 1]
    content = column.buffers()[2]
    octets = np.frombuffer(content, dtype=np.uint8) if content is not None else np.empty(0, np.uint8)
    return (offsets - offsets[0]).astype(np.int32), octets[offsets[0] : offsets[-1]]

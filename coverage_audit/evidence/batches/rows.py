"""Columns of a listing joined into one record batch, with what holds for every row of a manifest."""

from __future__ import annotations

import stat
from typing import Any, Final

import numpy as np
import pyarrow as pa

from coverage_audit.errors import EvidenceError
from coverage_audit.evidence.instants import SECOND_NS
from coverage_audit.evidence.store.layout import BATCH_SCHEMA

_LAST_SECOND: Final = (2**63 - 1) // SECOND_NS - 1
_TOO_LATE: Final = 2**63 - 1
_TOO_EARLY: Final = -(2**63)
_TYPE: Final = 0o170000  # of a mode, inode(7)
_LETTERS: Final = {stat.S_IFREG: b"f", stat.S_IFDIR: b"d", stat.S_IFLNK: b"l"}
_OTHERS: Final = b"bcpsDw"  # block and character devices, pipes, sockets, doors, whiteouts


def nanoseconds(seconds: Any, fraction: Any) -> Any:
    """Return times in ns out of whole seconds and a fraction that counts upwards from them.

    What 64 bits of nanoseconds cannot hold (before 1677, after 2262) becomes the earliest or latest that they can.
    """
    times = np.clip(seconds, -_LAST_SECOND, _LAST_SECOND) * SECOND_NS + fraction
    times = np.where(seconds > _LAST_SECOND, _TOO_LATE, times)
    return np.where(seconds < -_LAST_SECOND, _TOO_EARLY, times)


def kinds_of_letters(letters: Any) -> Any:
    """Return kinds as letters of a manifest out of the letters of `find`. Raises EvidenceError for unknown ones."""
    known = np.zeros(256, np.uint8)
    for kept in b"fdl":
        known[kept] = kept
    for other in _OTHERS:
        known[other] = ord("o")
    kinds = known[letters]
    if not kinds.all():
        raise EvidenceError("the listing holds an entry of no known kind")
    return kinds


def kinds_of_modes(modes: Any) -> Any:
    """Return kinds as letters of a manifest out of `st_mode`s."""
    types = modes & _TYPE
    kinds = np.full(len(types), ord("o"), np.uint8)
    for mode, letter in _LETTERS.items():
        kinds[types == mode] = ord(letter)
    return kinds


def batch_of(  # noqa: PLR0913 - one a column
    kinds: Any,
    paths: Any,
    numbers: tuple[Any, Any, Any],
    targets: Any,
    *,
    blocks: Any = None,
    links: Any = None,
    digests: Any = None,
) -> Any:
    """Return a record batch. `kinds` are letters, `numbers`: size, mtime, ctime; `targets` count for links only.

    `blocks`, `links` (integers) and `digests` (an Arrow array of bytes) count for regular files only; None: not shown.
    """
    sizes, mtimes, ctimes = numbers
    letters = np.ascontiguousarray(kinds)
    plain = letters == ord("f")
    offsets = np.arange(len(letters) + 1, dtype=np.int32)
    kind = pa.Array.from_buffers(
        pa.string(), len(letters), [None, pa.py_buffer(offsets), pa.py_buffer(letters.tobytes())]
    )
    return pa.RecordBatch.from_arrays(
        [
            paths,
            kind,
            pa.array(np.where(letters == ord("d"), 0, sizes), pa.int64()),
            pa.array(mtimes, pa.int64()),
            pa.array(ctimes, pa.int64()),
            _where(letters == ord("l"), targets),
            _of_files(plain, blocks),
            _of_files(plain, links),
            pa.nulls(len(plain), pa.binary()) if digests is None else _where(plain, digests),
        ],
        schema=BATCH_SCHEMA,
    )


def _where(chosen: Any, values: Any) -> Any:
    if not chosen.any():
        return pa.nulls(len(chosen), pa.binary())
    return pa.compute.if_else(pa.array(chosen), values, pa.scalar(None, pa.binary()))


def _of_files(plain: Any, numbers: Any) -> Any:
    return pa.nulls(len(plain), pa.int64()) if numbers is None else pa.array(numbers, pa.int64(), mask=~plain)

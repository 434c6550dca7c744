"""Records as GNU find prints them with `PRINTF`: numbers in columns of fixed width, so that blocks are read as a whole.

A record is a head, the path and a NUL, the link's target and a NUL. A number that is too wide for its column (a file
of ten terabytes) moves what follows it; a block with such a record is read slowly, record by record.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from coverage_audit.errors import EvidenceError
from coverage_audit.evidence.batches.figures import right_aligned
from coverage_audit.evidence.batches.rows import batch_of, kinds_of_letters, nanoseconds

PRINTF: Final = rb"%y%13s %11b %7n %21T@ %21C@ %10D %P\0%l\0"

_SIZE = slice(1, 14)
_BLOCKS = slice(15, 26)
_LINKS = slice(27, 34)
_MTIME = slice(35, 56)
_CTIME = slice(57, 78)
_DEVICE = slice(79, 89)
_BLANKS = (14, 26, 34, 56, 78, 89)
_HEAD = 90
_RECORD = re.compile(
    rb"([a-zA-Z?]) *([0-9]+) +([0-9]+) +([0-9]+) +(-?[0-9]+)\.([0-9]{9})[0-9] +(-?[0-9]+)\.([0-9]{9})[0-9] +([0-9]+) "
    rb"([^\0]*)\Z",
    re.DOTALL,
)


@dataclass(frozen=True, kw_only=True)
class Printed:
    """Rows in the order in which they were printed, with the device number of each."""

    batch: Any
    devices: Any

    @property
    def first(self) -> tuple[bytes, str]:
        """Path and kind of the first row."""
        return self.batch["path"][0].as_py(), self.batch["kind"][0].as_py()

    def without_first(self) -> Printed:
        """Leave out the first row."""
        return Printed(batch=self.batch.slice(1), devices=self.devices[1:])

    def elsewhere(self, device: int) -> tuple[bytes, ...]:
        """Return the paths whose device number is another one."""
        places = np.flatnonzero(self.devices != device)
        return tuple(self.batch["path"].take(pa.array(places)).to_pylist()) if len(places) else ()

    def outside(self, folders: Sequence[bytes]) -> Any:
        """Return the rows that are not below any of these folders."""
        batch = self.batch
        for folder in folders:
            batch = batch.filter(pc.invert(pc.starts_with(batch["path"], folder + b"/")))
        return batch


def printed_records(block: bytes) -> Printed:
    """Read whole records. Raises EvidenceError where one has not the shape of PRINTF."""
    ends = np.flatnonzero(np.frombuffer(block, np.uint8) == 0) + 1
    if len(ends) % 2 or (len(ends) and ends[-1] != len(block)) or (block and not len(ends)):
        raise EvidenceError("a record of the listing has no end")
    offsets = np.concatenate((np.zeros(1, np.int32), ends.astype(np.int32)))
    fields = pa.Array.from_buffers(pa.binary(), len(ends), [None, pa.py_buffer(offsets), pa.py_buffer(block)])
    first = pa.array(np.arange(len(ends)) % 2 == 0)
    records, targets = fields.filter(first), _without_nul(fields.filter(pc.invert(first)))
    return _in_columns(records, targets) or _one_by_one(records, targets)


def is_printed_record(record: bytes) -> bool:
    """Whether this is one record as GNU find prints it."""
    try:
        return len(printed_records(record).batch) == 1
    except EvidenceError:
        return False


def _without_nul(fields: Any, start: int = 0) -> Any:
    return pc.binary_slice(fields, start, -1)


def _in_columns(records: Any, targets: Any) -> Printed | None:
    """Read all heads as one table of characters; None where a number stands outside its columns."""
    if not len(records) or pc.min(pc.binary_length(records)).as_py() <= _HEAD:
        return None
    heads = pc.binary_slice(records, 0, _HEAD)
    table = np.frombuffer(heads.buffers()[2], np.uint8).reshape(len(records), _HEAD).T
    table = np.ascontiguousarray(table)
    numbers = [right_aligned(table[columns]) for columns in (_SIZE, _BLOCKS, _LINKS, _DEVICE)]
    times = [_time(table[columns]) for columns in (_MTIME, _CTIME)]
    blank = all((table[column] == ord(" ")).all() for column in _BLANKS)
    if any(column is None for column in (*numbers, *times)) or not blank:
        return None
    kinds, paths = kinds_of_letters(table[0]), _without_nul(records, _HEAD)
    size, blocks, links, device = numbers
    batch = batch_of(kinds, paths, (size, times[0], times[1]), targets, blocks=blocks, links=links)
    return Printed(batch=batch, devices=device)


def _time(columns: Any) -> Any:
    """Return times in ns. The fraction counts upwards from the whole second, also before 1970."""
    minus = columns == ord("-")
    below = minus.any(axis=0)
    if minus.sum(axis=0).max() > 1 or (minus[1:] & (columns[:-1] != ord(" "))).any():
        return None
    whole = right_aligned(np.where(minus, np.uint8(ord(" ")), columns)[:-11])
    fraction = right_aligned(columns[-10:-1])
    if whole is None or fraction is None or not (columns[-11] == ord(".")).all():
        return None
    return nanoseconds(np.where(below, -whole, whole), fraction)


def _one_by_one(records: Any, targets: Any) -> Printed:
    found = [_RECORD.match(record[:-1]) for record in records.to_pylist()]
    if not all(found):
        raise EvidenceError("a record of the listing has not the shape that GNU find prints")
    parts = [match.groups() for match in found if match]
    letters = np.frombuffer(b"".join(part[0] for part in parts), np.uint8)
    sizes, blocks, links, devices = (np.array([int(part[place]) for part in parts], np.int64) for place in (1, 2, 3, 8))
    mtimes, ctimes = (
        nanoseconds(
            np.array([int(part[place]) for part in parts], np.int64),
            np.array([int(part[place + 1]) for part in parts], np.int64),
        )
        for place in (4, 6)
    )
    paths = pa.array([part[9] for part in parts], pa.binary())
    kinds = kinds_of_letters(letters)
    batch = batch_of(kinds, paths, (sizes, mtimes, ctimes), targets, blocks=blocks, links=links)
    return Printed(batch=batch, devices=devices)

"""Records as `stat` prints them, one an entry, told apart by a mark that no name can hold.

A record is a head of numbers, the path and `/` and a newline. The path begins with the root's own mark `././`: no name
below the root can bring `/./` into a path, so whatever newlines or forged heads a name holds, a record begins only
where a mark stands. The root itself is printed as the mark alone (it is given to find as `./.`).

Two programs print such records: `stat -c` of BusyBox (and of GNU, toybox) and `stat -f` of the BSDs and macOS. The
second is known from its manual and its source alone: stat(1) of FreeBSD, "F: floating point output" of times; format1()
in stat.c prints tv_sec, which is the floor, and nine digits of tv_nsec. BusyBox gives fractions since 1.32; before, it
prints nine zeros and no offset after them.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from coverage_audit.errors import EvidenceError
from coverage_audit.evidence.batches.figures import right_aligned
from coverage_audit.evidence.batches.printed import Printed
from coverage_audit.evidence.batches.rows import batch_of, kinds_of_modes, nanoseconds

STAT_C: Final = b"%4f %13s %11b %7h %11Y %y %11Z %z %10d %n/"
STAT_F: Final = b"%4Xp %13z %11b %7l %21Fm %21Fc %10d %N/"

_END: Final = b"/\n"
_WRAP: Final = 2**64
_DATE: Final = rb"-?[0-9]{4,}-[0-9]{2}-[0-9]{2} [0-9]{2}:[0-9]{2}:[0-9]{2}"
_TIME_C: Final = rb"(-?[0-9]+) " + _DATE + rb"\.([0-9]{9})(?: [+-][0-9]{4})?"
_TIME_F: Final = rb"(-?[0-9]+)\.([0-9]{9})"
_HEADS: Final = tuple(
    re.compile(rb"([0-9a-f]{4,6}) +([0-9]+) +([0-9]+) +([0-9]+) +%s +%s +([0-9]+) \Z" % (time, time))
    for time in (_TIME_C, _TIME_F)
)


@dataclass(frozen=True, kw_only=True)
class _Layout:
    """In which columns a head's numbers stand: [first, end) of each; `fixed` says which sign stands where."""

    width: int
    seconds: tuple[slice, slice]
    fractions: tuple[slice, slice]
    device: slice
    fixed: tuple[tuple[int, bytes], ...]


_MODE, _SIZE, _BLOCKS, _LINKS = slice(0, 4), slice(5, 18), slice(19, 30), slice(31, 38)
_FIRST_TIME: Final = 39


def _layout(date: int, clock: int) -> _Layout:
    """Return a layout whose times are `date` characters before the fraction's dot and `clock` in all, after seconds."""
    step = 11 + clock + 1
    places = (_FIRST_TIME, _FIRST_TIME + step)
    blanks = (4, 18, 30, 38, places[1] - 1, places[1] + step - 1, places[1] + step + 10)
    dots = tuple(place + 11 + date for place in places)
    return _Layout(
        width=places[1] + step + 11,
        seconds=(slice(places[0], places[0] + 11), slice(places[1], places[1] + 11)),
        fractions=(slice(dots[0] + 1, dots[0] + 10), slice(dots[1] + 1, dots[1] + 10)),
        device=slice(places[1] + step, places[1] + step + 10),
        fixed=(*((blank, b" ") for blank in blanks), *((dot, b".") for dot in dots)),
    )


_LAYOUTS: Final = (
    _layout(20, 36),  # a blank, 2023-11-14 22:13:20, the fraction, and +0000
    _layout(20, 30),  # without an offset
    _layout(0, 10),  # the fraction alone
)


def stat_records(block: bytes, mark: bytes) -> Printed:
    """Read whole records of the tree whose root has this `mark`; their links bear no targets yet.

    Raises EvidenceError where something is not of the shape that STAT_C or STAT_F gives.
    """
    places = np.array([found.start() for found in re.finditer(re.escape(mark), block)], np.int64)
    if not len(places):
        raise EvidenceError("the listing holds no record")
    if not block.endswith(_END):
        raise EvidenceError("a record of the listing has no end")
    for layout in _LAYOUTS:
        printed = _in_columns(block, mark, places, layout)
        if printed is not None:
            return printed
    return _one_by_one(block, mark, places)


def _in_columns(block: bytes, mark: bytes, places: Any, layout: _Layout) -> Printed | None:
    starts = places - layout.width
    letters = np.frombuffer(block, np.uint8)
    if starts[0] != 0 or not _after_ends(letters, starts[1:]):
        return None
    heads = b"".join([block[start : start + layout.width] for start in starts.tolist()])
    table = np.ascontiguousarray(np.frombuffer(heads, np.uint8).reshape(-1, layout.width).T)
    if not all((table[column] == ord(sign)).all() for column, sign in layout.fixed):
        return None
    modes = _hexadecimal(table[_MODE])
    plain = [right_aligned(table[columns]) for columns in (_SIZE, _BLOCKS, _LINKS, layout.device)]
    times = [_time(table, *columns) for columns in zip(layout.seconds, layout.fractions, strict=True)]
    if modes is None or any(numbers is None for numbers in (*plain, *times)):
        return None
    size, blocks, links, devices = plain
    return _printed(modes, _paths(block, mark, places, starts), (size, *times), (blocks, links), devices)


def _after_ends(letters: Any, starts: Any) -> bool:
    """Whether each of these records begins right after the end of another."""
    if not len(starts):
        return True
    return bool(
        (starts >= len(_END)).all()
        and (letters[starts - 2] == ord("/")).all()
        and (letters[starts - 1] == ord("\n")).all()
    )


def _hexadecimal(columns: Any) -> Any:
    total = np.zeros(columns.shape[1], np.int64)
    for column in columns:
        digit, letter = column - np.uint8(ord("0")), column - np.uint8(ord("a"))
        if not ((digit <= 9) | (letter <= 5)).all():
            return None
        total = total * 16 + np.where(digit <= 9, digit, letter + np.uint8(10))
    return total


def _time(table: Any, seconds: slice, fraction: slice) -> Any:
    """Return times in ns: the fraction counts upwards from the whole second, also before 1970."""
    columns = table[seconds]
    minus = columns == ord("-")
    if minus.sum(axis=0).max() > 1 or (minus[1:] & (columns[:-1] != ord(" "))).any():
        return None
    whole = right_aligned(np.where(minus, np.uint8(ord(" ")), columns))
    parts = right_aligned(table[fraction])
    if whole is None or parts is None:
        return None
    return nanoseconds(np.where(minus.any(axis=0), -whole, whole), parts)


def _paths(block: bytes, mark: bytes, places: Any, starts: Any) -> list[bytes]:
    """Cut out what stands between a mark and the next record; of the root that is nothing."""
    first = (places + len(mark)).tolist()
    ends = [*(starts[1:] - len(_END)).tolist(), len(block) - len(_END)]
    # Some programs put a second slash behind a root.
    return [block[start:end].lstrip(b"/") for start, end in zip(first, ends, strict=True)]


def _one_by_one(block: bytes, mark: bytes, places: Any) -> Printed:
    at = places.tolist()
    starts = [block.rfind(b"\n", 0, place) + 1 for place in at]
    if starts[0] != 0 or not all(block.endswith(_END, 0, start) for start in starts[1:]):
        raise _unlike()
    parts = [_head(block[start:place]) for start, place in zip(starts, at, strict=True)]
    modes = np.array([int(part[0], 16) for part in parts], np.int64)
    size, blocks, links = (np.array([int(part[place]) for part in parts], np.int64) for place in (1, 2, 3))
    devices = np.array([(int(part[8]) + _WRAP // 2) % _WRAP - _WRAP // 2 for part in parts], np.int64)
    mtime, ctime = (
        nanoseconds(
            np.array([int(part[place]) for part in parts], np.int64),
            np.array([int(part[place + 1]) for part in parts], np.int64),
        )
        for place in (4, 6)
    )
    paths = _paths(block, mark, places, np.array(starts, np.int64))
    return _printed(modes, paths, (size, mtime, ctime), (blocks, links), devices)


def _head(text: bytes) -> tuple[bytes, ...]:
    for shape in _HEADS:
        found = shape.match(text)
        if found is not None:
            return found.groups()
    raise _unlike()


def _unlike() -> EvidenceError:
    return EvidenceError("a record of the listing has not the shape that stat was asked for")


def _printed(
    modes: Any, paths: list[bytes], numbers: tuple[Any, Any, Any], more: tuple[Any, Any], devices: Any
) -> Printed:
    targets = pa.nulls(len(paths), pa.binary())
    blocks, links = more
    rows = batch_of(kinds_of_modes(modes), pa.array(paths, pa.binary()), numbers, targets, blocks=blocks, links=links)
    return Printed(batch=rows, devices=devices)


def links_without_target(printed: Printed, targets: Mapping[bytes, bytes]) -> tuple[bytes, ...]:
    """Return the paths of links that have none."""
    return tuple(path for path in _links(printed) if path not in targets)


def with_targets(printed: Printed, targets: Mapping[bytes, bytes]) -> Printed:
    """Give each link its target, by path; a link without one is left out."""
    links = _links(printed)
    if not links:
        return printed
    mask = pc.equal(printed.batch["kind"], "l")
    found = pa.array([targets.get(path) for path in links], pa.binary())
    column = pc.replace_with_mask(pa.nulls(len(mask), pa.binary()), mask, found)
    rows = printed.batch.set_column(printed.batch.schema.get_field_index("target"), "target", column)
    kept = pc.or_(pc.invert(mask), pc.is_valid(column))
    return Printed(batch=rows.filter(kept), devices=printed.devices[np.asarray(kept)])


def _links(printed: Printed) -> list[bytes]:
    paths: list[bytes] = printed.batch["path"].filter(pc.equal(printed.batch["kind"], "l")).to_pylist()
    return paths

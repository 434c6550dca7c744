"""Finding named rows in a kept listing without reading it whole: only the groups that can hold them are read."""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Collection, Iterator, Sequence
from pathlib import Path
from typing import Any

from coverage_audit.comparison.terms import ask, offset_ns
from coverage_audit.errors import ComparisonError, EvidenceError
from coverage_audit.evidence.engine import Engine
from coverage_audit.evidence.order import tree_key
from coverage_audit.evidence.store import RowReader, seed_id

FEW = 50_000
"""Up to so many paths are looked up one by one; for more, the whole listing is read."""

_GROUPS_AT_A_TIME = 64
_COLUMNS = ("key_hi", "key_lo", "kind", "size", "mtime_ns", "ctime_ns", "target")
_EMPTY = """
CREATE OR REPLACE TEMP TABLE listed (
    key_hi UBIGINT, key_lo UBIGINT, kind entry_kind, size BIGINT, mtime BIGINT, ctime BIGINT, target BLOB)
"""
_TAKE = """
INSERT INTO listed
SELECT key_hi, key_lo, kind, size, within_reach(mtime_ns), within_reach(ctime_ns) - ?::BIGINT, target FROM part
"""
_ONLY_WANTED = "SEMI JOIN wanted USING (key_hi, key_lo)"


def find_listed(engine: Engine, file: Path, seed: bytes, paths: Collection[bytes] | None) -> None:
    """Fill the engine's table `listed` with the rows of a listing whose keys stand in its table `wanted`.

    `paths` are the wanted ones where they are few; None: all groups are read, and `listed` may hold rows that
    nobody wants. Ctimes come by the auditor's clock where the box's offset is known. Raises ComparisonError if
    the listing is missing, damaged, or keyed with another seed.
    """
    engine.execute(_EMPTY)
    try:
        with RowReader(file) as reader:
            if reader.footer.seed_id != seed_id(seed):
                raise ComparisonError(f"The kept listing {file} was made with another seed: its rows cannot be found.")
            offset = offset_ns(reader.footer.origin) or 0
            numbers = _groups_of(paths, [group.first for group in reader.groups])
            narrow = paths is not None or ask(engine, "SELECT count(*) FROM wanted") <= FEW
            for part in _parts(reader, numbers):
                engine.execute(_TAKE + (_ONLY_WANTED if narrow else ""), [offset], {"part": part})
    except EvidenceError as error:
        raise ComparisonError(f"A kept listing that this comparison needs is not there: {error}") from error


def _groups_of(paths: Collection[bytes] | None, firsts: Sequence[bytes]) -> Sequence[int]:
    if paths is None:
        return range(len(firsts))
    keys = [tree_key(first) for first in firsts]
    holding = {bisect_right(keys, tree_key(path)) - 1 for path in paths}
    return sorted(number for number in holding if number >= 0)


def _parts(reader: RowReader, numbers: Sequence[int]) -> Iterator[Any]:
    for begin in range(0, len(numbers), _GROUPS_AT_A_TIME):
        yield reader.read(numbers[begin : begin + _GROUPS_AT_A_TIME], _COLUMNS)

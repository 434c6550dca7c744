"""What changed between two listings of one tree: files and links, those aside that need not be kept."""

from __future__ import annotations

from typing import Any

import numpy as np
import pyarrow as pa

from coverage_audit.comparison.held_rows import HeldTree
from coverage_audit.comparison.leaving_out import KEPT, LeavingOut
from coverage_audit.comparison.side import FOLDER, letter_codes
from coverage_audit.evidence.engine import Engine
from coverage_audit.evidence.manifest import Manifest, PartialManifest
from coverage_audit.evidence.store import RowReader, group_index
from coverage_audit.evidence.store.columns import single

_COLUMNS = ("path", "kind", "key_hi", "key_lo", "size", "mtime_ns", "ctime_ns", "target")
_ROWS = """
    path BLOB, kind VARCHAR, key_hi UBIGINT, key_lo UBIGINT, size BIGINT, mtime_ns BIGINT, ctime_ns BIGINT, target BLOB
"""
_CHANGED = """
SELECT path FROM (
    SELECT * FROM (SELECT * FROM listed_first EXCEPT SELECT * FROM listed_second)
    UNION ALL
    SELECT * FROM (SELECT * FROM listed_second EXCEPT SELECT * FROM listed_first)
) GROUP BY path ORDER BY path
"""


def changed_meanwhile(engine: Engine, first: HeldTree, second: Manifest) -> list[bytes]:
    """Return the paths below the volume that are not as they were, new blind places among them.

    Raises EvidenceError where a listing cannot be read.
    """
    changed = [first.in_volume(path) for path in _blind(second) - _blind(first.manifest)]
    if _marks(first.manifest) == _marks(second):
        return changed
    for name, manifest in (("listed_first", first.manifest), ("listed_second", second)):
        engine.execute(f"CREATE OR REPLACE TEMP TABLE {name} ({_ROWS})")
        with RowReader(manifest.file, coded=True) as reader:
            for number in range(len(reader.groups)):
                part = _kept(reader.read([number], _COLUMNS), first)
                engine.execute(f"INSERT INTO {name} SELECT * FROM part", tables={"part": part})  # noqa: S608 - a name of this module
    return changed + [first.in_volume(path) for path in engine.query(_CHANGED)["path"].to_pylist()]


def _kept(table: Any, tree: HeldTree) -> Any:
    kinds = letter_codes(table["kind"])
    kept = kinds != FOLDER
    leaving = LeavingOut(tree.not_kept)
    if leaving:
        paths = [tree.in_volume(path) for path in table["path"].to_pylist()] if tree.below else None
        named = single(table["path"]) if paths is None else pa.array(paths, pa.binary())
        kept &= leaving.which_of(named, kinds) == KEPT
    letters = pa.array([chr(code) for code in kinds.tolist()])
    table = table.set_column(table.schema.get_field_index("kind"), "kind", letters)
    return table.take(pa.array(np.flatnonzero(kept)))


def _marks(manifest: Manifest) -> list[tuple[bytes, bytes]]:
    return [(group.digest, group.ctimes_digest) for group in group_index(manifest.file)]


def _blind(manifest: Manifest) -> set[bytes]:
    return {place.path for place in manifest.blind} if isinstance(manifest, PartialManifest) else set()

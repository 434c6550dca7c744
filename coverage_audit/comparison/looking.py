"""Looking at a few paths of the original once more: whether they raced the walk, and when they were born.

A look can only tell what it positively shows: a path that is gone, a box that does not answer or a version that
is neither side's changes nothing.
"""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Any

import pyarrow as pa

from coverage_audit.comparison.picking import paths_at
from coverage_audit.comparison.terms import NEW_FILE_SPAN
from coverage_audit.comparison.types import Look
from coverage_audit.errors import CollectionError
from coverage_audit.evidence.collected import SecondLook
from coverage_audit.evidence.engine import Engine
from coverage_audit.evidence.instants import span_ns

MOST_LOOKS = 10_000

_NEWER = f"""
SELECT l.i FROM lack l JOIN begun b USING (i)
WHERE l.class = 'newer' AND NOT b.carried AND l.o_kind = 'f' AND l.c_kind = 'f' ORDER BY l.i LIMIT {MOST_LOOKS}
"""  # noqa: S608 - a number of this module

_NEW_MISSING = f"""
SELECT i FROM judged
WHERE class = 'missing' AND NOT blind AND NOT carried AND NOT went_back AND undecided ORDER BY i LIMIT {MOST_LOOKS}
"""  # noqa: S608 - a number of this module

_RACED = """
CREATE TEMP TABLE raced AS
SELECT i FROM lack JOIN looks USING (i)
WHERE holds(c_kind, c_size, c_mtime, c_target, 'f'::entry_kind, size, within_reach(mtime), NULL::BLOB)
    AND NOT (hashed AND alike(o_kind, o_size, o_mtime, NULL, 'f'::entry_kind, size, within_reach(mtime), NULL))
"""

_BORN = f"""
CREATE TEMP TABLE born AS
SELECT i, looks.birth - getvariable('original_offset') AS birth
FROM judged JOIN looks USING (i)
WHERE looks.birth - getvariable('original_offset') <= latest
    AND looks.size = o_size AND within_reach(looks.mtime) = o_mtime
    AND (earliest IS NOT NULL OR o_mtime >= looks.birth - {span_ns(NEW_FILE_SPAN)})
"""  # noqa: S608 - a number of this module

_BORN_LATER = """
UPDATE begun SET birth = born.birth, earliest = greatest(earliest, born.birth) FROM born WHERE begun.i = born.i
"""


def drop_raced(engine: Engine, look: Look | None, relation: Path) -> None:
    """Look once more at what is newer in the copy, and list in the engine's table `raced` what it holds after all.

    The original was changed and taken up after it was walked: that is no difference. One that is as it was walked does
    not hold, by its size, a content that digests have shown to be another.
    """
    _show(engine, look, relation, _NEWER)
    engine.execute(_RACED)


def ask_births(engine: Engine, look: Look | None, relation: Path) -> None:
    """Ask when new rows were born whose start would leave them undecided, and tighten their start in `begun`.

    Where no earlier listing bounds the start, a birth counts only if the mtime agrees that the file is new: a
    migration gives every file a new birth.
    """
    _show(engine, look, relation, _NEW_MISSING)
    engine.execute(_BORN)
    engine.execute(_BORN_LATER)


def _show(engine: Engine, look: Look | None, relation: Path, which: str) -> None:
    numbers: list[int] = engine.query(which)["i"].to_pylist() if look else []
    paths = paths_at(relation, numbers)
    seen = _looked(look, [paths[number] for number in numbers]) if look and numbers else ()
    engine.execute(
        "CREATE OR REPLACE TEMP TABLE looks AS SELECT * FROM part",
        tables={"part": _table(dict(zip(numbers, seen, strict=False)))},
    )


def _looked(look: Look, paths: Sequence[bytes]) -> tuple[SecondLook, ...]:
    """Return what a look shows; nothing where the box cannot be asked or answers for other paths."""
    try:
        seen = look(tuple(paths))
    except CollectionError:
        return ()
    return seen if [one.path for one in seen] == list(paths) else ()


def _table(seen: dict[int, SecondLook]) -> Any:
    there = {number: one for number, one in seen.items() if one.size is not None and one.mtime_ns is not None}
    columns = {
        "i": list(there),
        "size": [one.size for one in there.values()],
        "mtime": [one.mtime_ns for one in there.values()],
        "birth": [one.birth_ns for one in there.values()],
    }
    return pa.table({name: pa.array(values, pa.int64()) for name, values in columns.items()})

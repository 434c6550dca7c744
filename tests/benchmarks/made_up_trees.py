"""Large made-up trees as stored manifests and as sorted text, written by the million rows a second.

One session folder in a hundred entries, under one station folder in a hundred thousand; names of fixed width, so
tree order is also the byte order of the text lines.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import ExitStack
from pathlib import Path
from typing import Any

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from coverage_audit.evidence.store import BATCH_SCHEMA, ManifestWriter
from tests.builders.manifests import MEMORY, SEED, STARTED, an_origin

SESSION = 100  # entries: the folder and its files
STATION = 100_000
AT_ONCE = 200_000
NEWEST_NS = int(STARTED.timestamp()) * 10**9

Vary = Callable[[Any], tuple[Any, Any]]
"""Takes the numbers of rows; returns which of them are there, and which of them are of another version."""


def unchanged(numbers: Any) -> tuple[Any, Any]:
    """All rows there, none of another version."""
    return np.ones(len(numbers), dtype=bool), np.zeros(len(numbers), dtype=bool)


def evenly_apart(every: int, *, copy: bool) -> Vary:
    """One file in `every` differs: in turn missing, extra, and of an older version in the copy."""

    def vary(numbers: Any) -> tuple[Any, Any]:
        marked = numbers % every == every // 2 + 1
        turn = numbers // every % 3
        gone = marked & (turn == (0 if copy else 1))
        return ~gone, marked & (turn == 2) & copy

    return vary


def runs_of_folders(rows: int, share: float, runs: int) -> Vary:
    """A share of all session folders changed, in so many runs of neighbours, evenly apart."""
    sessions = rows // SESSION
    each = max(1, round(sessions * share / runs))
    apart = max(1, sessions // runs)

    def vary(numbers: Any) -> tuple[Any, Any]:
        session = numbers // SESSION
        return np.ones(len(numbers), dtype=bool), (session % apart < each) & (session // apart < runs)

    return vary


def write_tree(manifest: Path, rows: int, vary: Vary, *, text: Path | None = None) -> None:
    """Write `rows` rows, but for those that `vary` takes away; as text too where that is asked for."""
    writer = ManifestWriter(manifest, SEED, MEMORY, started=STARTED)
    with ExitStack() as stack:
        lines = stack.enter_context(text.open("wb")) if text else None
        for table in _tables(rows, vary):
            for batch in table.to_batches():
                writer.add(batch)
            if lines is not None:
                lines.write(_text(table))
    writer.finish(an_origin(), [])


def _tables(rows: int, vary: Vary) -> Iterator[Any]:
    for start in range(0, rows, AT_ONCE):
        numbers = np.arange(start, min(start + AT_ONCE, rows))
        there, other = vary(numbers)
        yield _table(numbers, other).filter(pa.array(there))


def _table(numbers: Any, other: Any) -> Any:
    folder = (numbers % SESSION == 0) & (numbers % STATION != 0)
    station = numbers % STATION == 0
    chance = np.random.default_rng(int(numbers[0]))  # so that every tree of one size is the same tree
    size = np.where(folder | station, 0, (2.0 ** chance.uniform(4, 32, len(numbers))).astype(np.int64))
    mtime = NEWEST_NS - (10**16 - numbers * 10**8) - chance.integers(0, 10**9, len(numbers))
    mtime -= other.astype(np.int64) * 86_400 * 10**9
    columns = {
        "path": _paths(numbers, folder, station),
        "kind": pc.if_else(pa.array(folder | station), "d", "f"),
        "size": size + (other & ~folder & ~station),
        "mtime_ns": mtime,
        "ctime_ns": mtime + 10**9,
        "target": pa.nulls(len(numbers), pa.binary()),
        "blocks": pa.array(size // 4096 * 8 + 8, pa.int64(), mask=folder | station),
        "links": pa.array(np.ones(len(numbers), np.int64), mask=folder | station),
        "digest": pa.nulls(len(numbers), pa.binary()),
    }
    return pa.table(columns).cast(BATCH_SCHEMA)


def _paths(numbers: Any, folder: Any, station: Any) -> Any:
    stations = _numbered("recordings-of-station-", numbers // STATION, 4)
    sessions = _numbered("/session-", numbers // SESSION, 7)
    takes = pc.binary_join_element_wise(_numbered("/take-", numbers, 9), "-channel-left.flac", "")
    nothing = pa.scalar("")
    inner = pc.if_else(pa.array(station), nothing, sessions)
    last = pc.if_else(pa.array(folder | station), nothing, takes)
    return pc.binary_join_element_wise(stations, inner, last, "").cast(pa.binary())


def _numbered(word: str, numbers: Any, width: int) -> Any:
    digits = pc.utf8_lpad(pa.array(numbers).cast(pa.string()), width, "0")
    return pc.binary_join_element_wise(word, digits, "")


def _text(table: Any) -> Any:
    fields = [
        table["path"].cast(pa.string()),
        *(table[name].cast(pa.string()) for name in ("kind", "size", "mtime_ns")),
    ]
    lines = pc.binary_join_element_wise(pc.binary_join_element_wise(*fields, "\t"), "\n", "").combine_chunks()
    return memoryview(lines.buffers()[2])[: np.frombuffer(lines.buffers()[1], np.int32)[len(lines)]]

"""One pass over two manifests in one mode: window after window, three at work at a time.

While the engine pairs one window's rows, one thread reads the next window and another writes what differed in the last.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import dataclass
from pathlib import Path
from typing import Any, TypeVar

import numpy as np

from coverage_audit.comparison.alike import alike
from coverage_audit.comparison.classify import Differing, Rules, pair_up
from coverage_audit.comparison.differing import FillUp
from coverage_audit.comparison.mode import Signs
from coverage_audit.comparison.newest import Newest
from coverage_audit.comparison.reading import Loaded, Loading
from coverage_audit.comparison.relation import RAW, RAW_SCHEMA_NAME, RelationWriter
from coverage_audit.comparison.side import FILE, Side
from coverage_audit.comparison.totals import Differences
from coverage_audit.comparison.windows import Window
from coverage_audit.evidence.engine import Engine

EQUAL_AT_ONCE = 32
"""Groups read at a time of those that are equal on both sides, where patterns make reading them necessary."""

_In = TypeVar("_In")
_Out = TypeVar("_Out")


@dataclass(frozen=True, kw_only=True)
class _Found:
    """What came of one window: the pairs that differ, and which of the original's rows are held (a mask)."""

    sides: tuple[Side, Side]
    differing: Differing
    held: Any


@dataclass(frozen=True, kw_only=True)
class Pass:
    """The parts of one pass; afterwards they say what was found."""

    engine: Engine
    rules: Rules
    loading: Loading
    fill_up: FillUp
    newest: Newest
    signs: Signs
    differences: Differences

    def run(self, windows: Iterable[Window], relation: Path) -> int:
        """Compare all windows, write the raw relation; return how many rows differ.

        Raises ComparisonError when memory or disk is short, EvidenceError when a manifest cannot be read.
        """
        described = {"schema": RAW_SCHEMA_NAME}
        with (
            RelationWriter(relation, RAW, described) as writer,
            ThreadPoolExecutor(1, "reading") as reading,
            ThreadPoolExecutor(1, "writing") as writing,
        ):
            written: Future[None] | None = None
            for loaded in _ahead(reading, self.loading.load, windows):
                found = self._pair(loaded)
                if written is not None:
                    written.result()
                written = writing.submit(self._write, writer, found)
            if written is not None:
                written.result()
        return writer.rows

    def run_equal(self, groups: Sequence[int]) -> None:
        """Count what is left out of groups that are equal on both sides; the rest of their rows is held."""
        chunks = [groups[start : start + EQUAL_AT_ONCE] for start in range(0, len(groups), EQUAL_AT_ONCE)]
        with ThreadPoolExecutor(1, "reading") as reading:
            for side, kept in _ahead(reading, self.loading.load_equal, chunks):
                held = np.zeros(len(side), dtype=bool)
                held[kept] = True
                self.newest.see(side, held)
                self.signs.sized += int((side.kind[kept] == FILE).sum())

    def _pair(self, loaded: Loaded) -> _Found:
        held, held_there = self._alike(loaded)
        mine, other = loaded.rows
        files = int((held & (loaded.sides[0].kind == FILE)).sum())
        paired = pair_up(self.engine, loaded.sides, (mine[~held[mine]], other[~held_there[other]]), self.rules)
        self.signs.add(files + paired.sized, paired.later_ns)
        held[paired.held] = True
        return _Found(sides=loaded.sides, differing=paired.differing, held=held)

    def _alike(self, loaded: Loaded) -> tuple[Any, Any]:
        if self.rules.mode.shift:  # the very same time is then an hour off
            return np.zeros(len(loaded.sides[0]), dtype=bool), np.zeros(len(loaded.sides[1]), dtype=bool)
        return alike(loaded.sides, loaded.rows)

    def _write(self, writer: RelationWriter, found: _Found) -> None:
        self.newest.see(found.sides[0], found.held)
        rows = self.fill_up.rows(found.sides, found.differing)
        self.differences.add(rows)
        writer.add(rows)


def _ahead(pool: ThreadPoolExecutor, step: Callable[[_In], _Out], items: Iterable[_In]) -> Iterator[_Out]:
    """Yield `step` of each item in order, the next one always under way."""
    upcoming: Future[_Out] | None = None
    for item in items:
        ready, upcoming = upcoming, pool.submit(step, item)
        if ready is not None:
            yield ready.result()
    if upcoming is not None:
        yield upcoming.result()

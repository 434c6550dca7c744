"""One pass over two manifests in one mode: window after window, several at work at a time.

One thread reads ahead. Rows that are alike are set aside at once; what is left of some windows goes to the engine
together (to be asked costs it more than a thousand rows do), and what it finds to differ is filled up and written by
other threads.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Callable, Iterable, Iterator, Sequence
from concurrent.futures import Executor, Future, ThreadPoolExecutor
from contextlib import ExitStack
from dataclasses import dataclass
from pathlib import Path
from typing import TypeVar

import numpy as np

from coverage_audit.comparison.alike import alike
from coverage_audit.comparison.classify import Rules, pair_up
from coverage_audit.comparison.differing import FillUp
from coverage_audit.comparison.mode import Signs
from coverage_audit.comparison.newest import Newest
from coverage_audit.comparison.reading import Loading
from coverage_audit.comparison.relation import RAW, RAW_SCHEMA_NAME, RelationWriter
from coverage_audit.comparison.side import FILE, Side, joined
from coverage_audit.comparison.totals import Differences, Weak, tally
from coverage_audit.comparison.windows import Window
from coverage_audit.evidence.engine import Engine

EQUAL_AT_ONCE = 8
"""Groups read at a time of those that are equal on both sides, where patterns make reading them necessary."""

WINDOWS_LEFT = 2
"""So many windows' worth of rows that are not alike are paired at a time …"""

WINDOWS_PASSED = 16
"""… or what is left after so many windows, so that all threads have something to do."""

_In = TypeVar("_In")
_Out = TypeVar("_Out")


@dataclass(frozen=True, kw_only=True)
class Pass:
    """The parts of one pass; afterwards they say what was found. `window`: about how many rows a window has."""

    engine: Engine
    rules: Rules
    loading: Loading
    fill_up: FillUp
    newest: Newest
    signs: Signs
    weak: Weak
    differences: Differences
    window: int

    def run(self, windows: Iterable[Window], relation: Path) -> int:
        """Compare all windows, write the raw relation; return how many rows differ.

        Raises ComparisonError when memory or disk is short, EvidenceError when a manifest cannot be read.
        """
        with ExitStack() as stack:
            writer = stack.enter_context(RelationWriter(relation, RAW, {"schema": RAW_SCHEMA_NAME}))
            reading, writing, aside = (stack.enter_context(ThreadPoolExecutor(1)) for _ in range(3))
            written: deque[Future[None]] = deque()
            for sides in self._rest(_ahead(reading, self.loading.load, windows)):
                if len(written) > 1:
                    written.popleft().result()
                written.append(self._pair(sides, writer, writing, aside))
            for future in written:
                future.result()
        return writer.rows

    def run_equal(self, groups: Sequence[int]) -> None:
        """Count what is left out of groups that are equal on both sides; the rest of their rows is held."""
        chunks = [groups[start : start + EQUAL_AT_ONCE] for start in range(0, len(groups), EQUAL_AT_ONCE)]
        with ThreadPoolExecutor(1) as reading:
            for side in _ahead(reading, self.loading.load_equal, chunks):
                self.newest.see(side, np.ones(len(side), dtype=bool))
                self.signs.sized += int((side.kind == FILE).sum())

    def _rest(self, windows: Iterable[tuple[Side, Side]]) -> Iterator[tuple[Side, Side]]:
        """Yield what is not alike, of several windows at a time."""
        left: list[tuple[Side, Side]] = []
        rows = 0
        for sides in windows:
            left.append(self._not_alike(*sides))
            rows += max(len(side) for side in left[-1])
            if rows >= WINDOWS_LEFT * self.window or len(left) >= WINDOWS_PASSED:
                yield joined([mine for mine, _ in left]), joined([other for _, other in left])
                left, rows = [], 0
        yield joined([mine for mine, _ in left]), joined([other for _, other in left])

    def _not_alike(self, original: Side, copy: Side) -> tuple[Side, Side]:
        if self.rules.mode.shift or not self.rules.mode.full:  # the very same time is then an hour off, or says nothing
            return original, copy
        held, there = alike(original, copy)
        self.newest.see(original, held)
        self.signs.sized += int((held & (original.kind == FILE)).sum())
        return original.only(np.flatnonzero(~held)), copy.only(np.flatnonzero(~there))

    def _pair(
        self, sides: tuple[Side, Side], writer: RelationWriter, writing: Executor, aside: Executor
    ) -> Future[None]:
        """Pair rows and let the differing ones be written."""
        paired = pair_up(self.engine, sides, self.rules)
        self.signs.add(paired.sized, paired.later_ns)
        held = np.zeros(len(sides[0]), dtype=bool)
        held[paired.held] = True
        self.weak.unproven += tally(sides[0].kind[paired.unproven], sides[0].size[paired.unproven])
        self.weak.retimed += paired.retimed
        self.newest.see(sides[0], held)

        def write() -> None:
            rows = self.fill_up.rows(sides, paired.differing, aside)
            self.differences.add(rows)
            writer.add(rows)

        return writing.submit(write)


def _ahead(pool: Executor, step: Callable[[_In], _Out], items: Iterable[_In]) -> Iterator[_Out]:
    """Yield `step` of each item in order, the next two always under way."""
    upcoming: deque[Future[_Out]] = deque()
    for item in items:
        upcoming.append(pool.submit(step, item))
        if len(upcoming) > 2:
            yield upcoming.popleft().result()
    while upcoming:
        yield upcoming.popleft().result()

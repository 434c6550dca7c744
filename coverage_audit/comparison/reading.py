"""Two manifests held open for one comparison, and what is read of them window by window."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from contextlib import ExitStack, contextmanager

import numpy as np

from coverage_audit.comparison.leaving_out import KEPT, LeavingOut
from coverage_audit.comparison.side import Besides, Limits, Side, Tree
from coverage_audit.comparison.totals import tally
from coverage_audit.comparison.types import Workspace
from coverage_audit.comparison.windows import Window
from coverage_audit.errors import ComparisonError
from coverage_audit.evidence.difference import Tally
from coverage_audit.evidence.manifest import Manifest
from coverage_audit.evidence.store import RowReader, seed_id
from coverage_audit.evidence.store.columns import single

Trees = tuple[Tree, Tree]
"""The original's and the copy's."""


@contextmanager
def opened(original: Manifest, copy: Manifest, work: Workspace, threads: int) -> Iterator[tuple[Trees, ...]]:
    """Hold both files open for so many threads: yields a pair of trees for each.

    Raises ComparisonError where the keys of the two cannot be compared or a file is not the one that was recorded.
    """
    with ExitStack() as stack:
        readers = tuple(stack.enter_context(RowReader(side.file, coded=True)) for side in (original, copy))
        for reader, manifest in zip(readers, (original, copy), strict=True):
            if reader.footer.census != manifest.census or reader.footer.origin != manifest.origin:
                raise ComparisonError(f"{manifest.file} is not the manifest that was recorded: it changed underneath.")
            if reader.footer.seed_id != seed_id(work.seed):
                raise ComparisonError(
                    f"{manifest.file} was keyed with another ledger's seed: its paths cannot be matched with "
                    f"those of this one. Record it anew."
                )
        pairs = [readers, *(tuple(stack.enter_context(one.twin()) for one in readers) for _ in range(threads - 1))]
        besides = Besides(digests=_digests(original, copy), hollow=copy.census.hollow > 0)
        yield tuple((Tree(mine, besides), Tree(other, besides)) for mine, other in pairs)


def _digests(original: Manifest, copy: Manifest) -> bool:
    return original.origin.digest is not None and original.origin.digest == copy.origin.digest


class Loading:
    """Reads windows, and counts what is left out of them (over the original's rows) and how many rows went by."""

    def __init__(self, trees: Trees, leaving: LeavingOut) -> None:
        self._trees = trees
        self._leaving = leaving
        self._left_by = dict.fromkeys(leaving.leaving(), Tally())
        self.seen = [0, 0]

    def load(self, window: Window) -> tuple[Side, Side]:
        """Read one window's rows on both sides, those that are left out not among them."""
        limits = Limits(low=window.low, high=window.high)
        return self._read(0, window.original, limits), self._read(1, window.copy, limits)

    def load_equal(self, groups: Sequence[int]) -> Side:
        """Read groups of the original that the copy has just so; return the rows that are not left out."""
        before = self.seen[0]
        side = self._read(0, tuple(groups), Limits())
        self.seen[1] += self.seen[0] - before
        return side

    def skip(self, rows: int) -> None:
        """Count rows that are equal on both sides and need no reading."""
        self.seen[0] += rows
        self.seen[1] += rows

    def left_out(self) -> Tally:
        """Return all that is left out."""
        return sum(self._left_by.values(), Tally())

    def left_out_by(self) -> tuple[tuple[str, Tally], ...]:
        """Return what each pattern leaves out, those that take back in left aside."""
        return tuple((self._leaving.patterns[number], counted) for number, counted in self._left_by.items())

    def _read(self, which: int, groups: tuple[int, ...], limits: Limits) -> Side:
        also = ("path",) if self._leaving else ()
        side, more = self._trees[which].read(groups, limits, also)
        self.seen[which] += len(side)
        if not self._leaving:
            return side
        by = self._leaving.which_of(single(more["path"]), side.kind)
        if which == 0:
            for number in np.unique(by[by != KEPT]).tolist():
                self._left_by[number] += tally(side.kind[by == number], side.size[by == number])
        return side.only(np.flatnonzero(by == KEPT))

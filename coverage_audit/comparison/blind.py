"""Which rows lie below a place that was not looked into."""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Sequence
from typing import Any

import numpy as np

from coverage_audit.evidence.manifest import Blind, Manifest, PartialManifest
from coverage_audit.evidence.order import tree_key

AFTER = b"\x01"
"""Sorts after all that is below a folder: tree keys go on with NUL there."""


class BlindPlaces:
    """The blind places of one manifest, for asking about many rows at once."""

    def __init__(self, manifest: Manifest) -> None:
        blind: Sequence[Blind] = manifest.blind if isinstance(manifest, PartialManifest) else ()
        self._places = sorted({tree_key(place.path) for place in blind})

    def __bool__(self) -> bool:
        """Whether there is any."""
        return bool(self._places)

    def cover(self, keys: Any) -> Any:
        """Return a mask over rows, given by their tree keys in rising order: a blind place, or below one."""
        covered = np.zeros(len(keys), dtype=bool)
        if not self._places or not len(keys):
            return covered
        if self._places[0] == b"":  # the root itself
            return ~covered
        rows = range(len(keys))
        for place in self._near(keys[0].as_py(), keys[-1].as_py()):
            first = bisect_left(rows, place, key=lambda row: keys[row].as_py())
            stop = bisect_left(rows, place + AFTER, key=lambda row: keys[row].as_py())
            covered[first:stop] = True
        return covered

    def _near(self, first: bytes, last: bytes) -> Sequence[bytes]:
        """Return the places from the first key to the last, and those above the first."""
        within = self._places[bisect_left(self._places, first) : bisect_right(self._places, last)]
        parts = first.split(b"\0")
        above = [b"\0".join(parts[:depth]) for depth in range(1, len(parts))]
        return [*(place for place in above if self._has(place)), *within]

    def _has(self, place: bytes) -> bool:
        found = bisect_left(self._places, place)
        return found < len(self._places) and self._places[found] == place

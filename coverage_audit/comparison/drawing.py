"""Files of a copy drawn at random among all that it holds, each with a place in one random order.

The population are the regular files that a comparison found held. Each has a rank: its keyed
path, which nobody outside the ledger can tell, mixed with the seed of the draw. The files of the lowest ranks are a
simple random sample without replacement, of however many; and they stay one when files come, go or change meanwhile,
as a rank depends on nothing but the path (permanent random numbers: Ohlsson, in Business Survey Methods, 1995).
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

import numpy as np

from coverage_audit.comparison.leaving_out import KEPT, LeavingOut
from coverage_audit.comparison.own_spelling import batches, places_otherwise, require_one_name
from coverage_audit.comparison.ranks import ranks
from coverage_audit.comparison.reading import opened
from coverage_audit.comparison.relation import read_relation
from coverage_audit.comparison.side import FILE, Limits, Tree
from coverage_audit.comparison.types import Workspace
from coverage_audit.evidence.difference import Tally
from coverage_audit.evidence.keys import key_of
from coverage_audit.evidence.manifest import Manifest
from coverage_audit.evidence.store.columns import integers, single

FIRST: Final = 0
"""From this rank on: all."""

_ROOM: Final = 1 << 18
_NONE: Final = np.empty(0, dtype=np.uint64)


@dataclass(frozen=True, kw_only=True)
class Listed:
    """What a side's listing shows of a file."""

    size: int
    mtime_ns: int
    ctime_ns: int | None
    links: int | None = None


@dataclass(frozen=True, kw_only=True)
class Drawn:
    """A file of the population with its place in the random order (0 to 2**63 - 1).

    `there` is its path as the copy spells it. Where that could not be told it is the original's, with the original's
    figures: nothing that lies in the copy is then taken for it by mistake, but it belongs to the population still.
    """

    rank: int
    path: bytes
    there: bytes
    original: Listed
    copy: Listed


@dataclass(frozen=True, kw_only=True)
class Draw:
    """`files` are those of the lowest ranks from the one asked for on, rising; `left` is all that lies from there on.

    `population` is all that the copy was found to hold, under whatever spelling of its name: any of it can be drawn.
    """

    population: Tally
    left: Tally
    files: tuple[Drawn, ...]


@dataclass(frozen=True, kw_only=True)
class Compared:
    """Two listings, the relation of what differs between them, and what was left out of the comparison."""

    original: Manifest
    copy: Manifest
    relation: Path
    leave_out: tuple[str, ...]


def draw(compared: Compared, seed: bytes, most: int, work: Workspace, *, begin: int = FIRST) -> Draw:
    """Draw at most `most` files of the lowest ranks from `begin` on.

    Memory: some hundred bytes for each of `most`, and 8 bytes for each row that differs. Raises ComparisonError and
    EvidenceError where the listings or the relation cannot be read, or are not those that were compared.
    """
    aside = _keys_of(compared.relation)
    with opened(compared.original, compared.copy, work, threads=1) as ((mine, other),):
        lowest = _Lowest(most, begin)
        for rows in _files(mine, LeavingOut(compared.leave_out)):
            lowest.take(rows.only(~_among(aside, rows.folded)), seed)
        picked = lowest.picked()
        files = tuple(_drawn(picked, mine, other, _places(mine, other, picked)))
    return Draw(population=lowest.population, left=lowest.left, files=files)


@dataclass(frozen=True, kw_only=True)
class Again:
    """Named files looked for once more: those that are `held` now, and all that the original still lists."""

    held: Mapping[bytes, Drawn]
    listed: Mapping[bytes, Listed]


def again(compared: Compared, paths: Sequence[bytes], work: Workspace) -> Again:
    """Look up named files in both listings. Raises as `draw` does."""
    keys = [key_of(work.seed, path) for path in paths]
    upper, lower = (np.array(half, dtype=np.uint64) for half in zip(*keys, strict=True)) if keys else (_NONE, _NONE)
    wanted = _Rows(place=np.arange(len(keys)), key_hi=upper, key_lo=lower, size=lower, rank=lower)
    aside = _among(_keys_of(compared.relation), wanted.folded)
    with opened(compared.original, compared.copy, work, threads=1) as ((mine, other),):
        here = _same_path(mine, wanted)
        found = _Rows(place=here, key_hi=upper, key_lo=lower, size=lower, rank=np.zeros(len(keys), dtype=np.uint64))
        found = found.only((here >= 0) & ~aside)
        there = _places(mine, other, found)
        held = {one.path: one for one in _drawn(found.only(there >= 0), mine, other, there[there >= 0])}
        left = np.flatnonzero(here >= 0)
        listed = {paths[row]: one for row, one in zip(left.tolist(), _listed(mine, here[left]), strict=True)}
    return Again(held=held, listed=listed)


@dataclass(frozen=True, kw_only=True)
class _Rows:
    """Some rows of the original: their numbers, keys and sizes, and once they have them their ranks."""

    place: Any
    key_hi: Any
    key_lo: Any
    size: Any
    rank: Any

    @property
    def folded(self) -> Any:
        return self.key_hi ^ self.key_lo

    def only(self, chosen: Any) -> _Rows:
        return _Rows(**{name: getattr(self, name)[chosen] for name in ("place", "key_hi", "key_lo", "size", "rank")})

    def joined(self, more: _Rows) -> _Rows:
        columns = {
            name: np.concatenate([getattr(self, name), getattr(more, name)])
            for name in ("place", "key_hi", "key_lo", "size", "rank")
        }
        return _Rows(**columns)


class _Lowest:
    """Keeps the rows of the lowest ranks of all that it is given, and counts them all."""

    def __init__(self, most: int, begin: int) -> None:
        self._most = most
        self._begin = begin
        self._kept: _Rows | None = None
        self.population = Tally()
        self.left = Tally()

    def take(self, rows: _Rows, seed: bytes) -> None:
        self.population += Tally(files=len(rows.place), bytes=int(rows.size.sum()))
        rank = ranks(rows.key_hi, rows.key_lo, seed)
        ranked = _Rows(place=rows.place, key_hi=rows.key_hi, key_lo=rows.key_lo, size=rows.size, rank=rank)
        ranked = ranked.only(rank >= np.uint64(self._begin))
        self.left += Tally(files=len(ranked.place), bytes=int(ranked.size.sum()))
        self._kept = ranked if self._kept is None else self._kept.joined(ranked)
        if len(self._kept.place) > 2 * self._most + _ROOM:
            self._kept = self._kept.only(np.argpartition(self._kept.rank, self._most)[: self._most])

    def picked(self) -> _Rows:
        if self._kept is None:
            return _Rows(place=_NONE, key_hi=_NONE, key_lo=_NONE, size=_NONE, rank=_NONE)
        return self._kept.only(np.lexsort((self._kept.place, self._kept.rank))[: self._most])


def _files(tree: Tree, leaving: LeavingOut) -> Iterator[_Rows]:
    also = ("path",) if leaving else ()
    for groups in batches(tree):
        side, more = tree.read(groups, Limits(), also)
        chosen = side.kind == FILE
        if leaving:
            chosen &= leaving.which_of(single(more["path"]), side.kind) == KEPT
        yield _Rows(
            place=side.place[chosen],
            key_hi=side.key_hi[chosen],
            key_lo=side.key_lo[chosen],
            size=side.size[chosen],
            rank=side.key_lo[chosen],
        )


def _keys_of(relation: Path) -> Any:
    """Return the folded keys of all rows that differ, in order. Two of one folded key are one in 10**12 draws."""
    parts = [
        integers(rows["key_hi"]) ^ integers(rows["key_lo"])
        for rows in read_relation(relation, ["key_hi", "key_lo"], batch=1 << 18)
    ]
    return np.sort(np.concatenate(parts)) if parts else np.empty(0, dtype=np.uint64)


def _among(ordered: Any, keys: Any) -> Any:
    if not len(ordered):
        return np.zeros(len(keys), dtype=bool)
    at = np.minimum(np.searchsorted(ordered, keys), len(ordered) - 1)
    return ordered[at] == keys


def _places(mine: Tree, other: Tree, picked: _Rows) -> Any:
    """Return the number of each picked file's row in the copy; -1: it is not known under which path that holds it."""
    there = _same_path(other, picked)
    absent = np.flatnonzero(there < 0)
    if len(absent):
        rows = picked.only(absent)
        sizes = integers(mine.late(rows.place, "size"))
        there[absent] = places_otherwise(mine, other, mine.late(rows.place, "path"), sizes)
    return there


def _same_path(tree: Tree, picked: _Rows) -> Any:
    """Return the number of each picked file's row in a tree; -1: it has no file of that path."""
    there = np.full(len(picked.place), -1, dtype=np.int64)
    order = np.argsort(picked.folded)
    ordered = picked.folded[order]
    for groups in batches(tree) if len(ordered) else ():
        side, _ = tree.read(groups, Limits())
        folded = side.key_hi ^ side.key_lo
        rows = np.flatnonzero(_among(ordered, folded) & (side.kind == FILE))
        at = order[np.searchsorted(ordered, folded[rows])]
        same = picked.key_hi[at] == side.key_hi[rows]
        there[at[same]] = side.place[rows[same]]
    return there


def _drawn(found: _Rows, mine: Tree, other: Tree, there: Any) -> Iterator[Drawn]:
    paths = mine.late(found.place, "path").to_pylist()
    known = np.flatnonzero(there >= 0)
    names = dict(zip(known.tolist(), other.late(there[known], "path").to_pylist(), strict=True))
    copies = dict(zip(known.tolist(), _listed(other, there[known]), strict=True))
    ranks_and_paths = zip(found.rank.tolist(), paths, _listed(mine, found.place), strict=True)
    for row, (rank, path, original) in enumerate(ranks_and_paths):
        name = names.get(row, path)
        require_one_name(name, path)
        yield Drawn(rank=rank, path=path, there=name, original=original, copy=copies.get(row, original))


def _listed(tree: Tree, places: Any) -> Iterator[Listed]:
    columns = (tree.late(places, name).to_pylist() for name in ("size", "mtime_ns", "ctime_ns", "links"))
    for size, mtime_ns, ctime_ns, links in zip(*columns, strict=True):
        yield Listed(size=size, mtime_ns=mtime_ns, ctime_ns=ctime_ns, links=links)

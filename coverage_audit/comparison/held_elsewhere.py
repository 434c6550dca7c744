"""Which files of the trees that leave exist in no tree that stays: by content, seen on both sides.

Only files of a size that occurs on both sides are looked at twice; of those a digest on either side decides. What has
no digest is held by nothing: it counts as unique, or as not known where another of its size may be the same.
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterator, Sequence
from typing import Any, Final

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from coverage_audit.comparison.held_rows import NOBODY, HeldTree, Seen, below_of, files_of, inner_of
from coverage_audit.comparison.held_sql import (
    CLASSES,
    DIFFERING,
    INSERT,
    LARGEST,
    LEFT_TO_READ,
    MINE_TO_READ,
    OTHERS_LIKELY,
    OTHERS_TO_READ,
    READ,
    SET_EMPTY,
    SET_TRIED,
    STANDING,
    SUMS,
    TABLES,
    UNHELD,
)
from coverage_audit.comparison.held_terms import StayingTree, ToRead, why_lone
from coverage_audit.comparison.side import Tree
from coverage_audit.comparison.types import Workspace
from coverage_audit.estate.model import DatasetId, VolumeKey
from coverage_audit.evidence.content import HashedFile
from coverage_audit.evidence.difference import Tally
from coverage_audit.evidence.elsewhere import Held, LoneFile
from coverage_audit.evidence.engine import Engine
from coverage_audit.evidence.keys import keys_of
from coverage_audit.evidence.store import RowReader, StoredDigests
from coverage_audit.evidence.store.columns import integers

ALGORITHM: Final = "sha256"
_OF_CONTENT: Final = b"content"
"""Keeps keys of content apart from those of paths."""
AT_ONCE: Final = 20_000
"""So many files are asked for at a time."""


class HeldElsewhere:
    """The question, with all rows that it needs in the engine. Trees are known by their number on either side."""

    def __init__(
        self, engine: Engine, work: Workspace, leaving: Sequence[HeldTree], staying: Sequence[StayingTree]
    ) -> None:
        self._engine = engine
        self._seed = work.seed
        self.leaving = tuple(leaving)
        self.staying = tuple(staying)
        regions = [region for tree in (*leaving, *(one.tree for one in staying)) for region in tree.regions]
        self.datasets: tuple[DatasetId, ...] = tuple(dict.fromkeys(region.dataset for region in regions))
        self.seen = tuple(Seen() for _ in leaving)

    def load(self) -> None:
        """Load the files that leave, and of what stays those of a size that leaves. Raises EvidenceError."""
        for statement in TABLES:
            self._engine.execute(statement)
        for number, (tree, seen) in enumerate(zip(self.leaving, self.seen, strict=True)):
            self._engine.execute(INSERT["mine step"], [number, tree.manifest.census.granularity_ns])
            for part in files_of(self._engine, tree, self._seed, self.datasets, seen):
                self._engine.execute(INSERT["mine"], [number], {"part": part})
        sizes = integers(self._engine.query("SELECT DISTINCT size FROM mine ORDER BY size")["size"])
        for number, one in enumerate(self.staying):
            self._engine.execute(INSERT["others step"], [number, one.tree.manifest.census.granularity_ns])
            for part in files_of(self._engine, one.tree, self._seed, self.datasets, Seen(), sizes):
                if one.counts:
                    self._engine.execute(INSERT["others"], [number], {"part": part})
                else:
                    self._engine.execute(INSERT["weak"], tables={"part": part})
        empty = self._contents([hashlib.sha256(b"").digest()])
        for statements in SET_EMPTY.values():
            self._engine.execute(statements[0], [empty["k_hi"][0].as_py(), empty["k_lo"][0].as_py()])
            self._engine.execute(statements[1])

    def remember(self, side: str, tree: int, at: bytes, stored: StoredDigests, *, but: frozenset[bytes]) -> int:
        """Take digests that are remembered of what lies `at` a path below the tree's volume; return how many stand.

        Those of the paths `but` (below `at`) do not count.

        One stands where size, mtime and ctime are those listed now; where no ctime is shown none does. Raises
        EvidenceError where they cannot be read.
        """
        found = 0
        for batch in stored.batches():
            counted = batch.filter(pc.invert(pc.is_in(batch["path"], pa.array(sorted(but), pa.binary()))))
            told = self._placed(side, tree, at, counted)
            if len(told):
                found += self._read(side, tree, self._engine.query(STANDING[side], [tree], {"told": told}))
        return found

    def _placed(self, side: str, tree: int, at: bytes, batch: Any) -> Any:
        """Return remembered digests with the keys that their paths have in a tree."""
        below = (self.leaving[tree] if side == "mine" else self.staying[tree].tree).below
        paths = batch["path"]
        if at:
            paths = pc.binary_join_element_wise(pa.scalar(at, pa.binary()), paths, pa.scalar(b"/", pa.binary()))
        rows = below_of(paths, below)
        inner = inner_of(paths.take(pa.array(rows)), below)
        if not len(inner):
            return inner
        chosen = batch.take(pa.array(rows))
        keys = keys_of(self._engine, self._seed, inner)
        table = self._contents(chosen["digest"])
        table = table.append_column("key_hi", keys["key_hi"]).append_column("key_lo", keys["key_lo"])
        for name, column in (("size", "size"), ("mtime", "mtime_ns"), ("ctime", "ctime_ns")):
            table = table.append_column(name, chosen[column])
        return table

    def _contents(self, digests: Any) -> Any:
        """Return digests as keys (k_hi, k_lo)."""
        keys = keys_of(self._engine, self._seed + _OF_CONTENT, pa.array(digests, pa.binary()))
        return keys.rename_columns(["k_hi", "k_lo"])

    def _read(self, side: str, tree: int, told: Any) -> int:
        """Take the content of rows: a table (place, k_hi, k_lo); return how many."""
        for statement in READ[side]:
            self._engine.execute(statement, [tree], {"told": told})
        return len(told)

    def to_read(self, side: str, *, listed_too: bool, likely: bool = False) -> Iterator[ToRead]:
        """Yield the files whose content decides what is not known yet, tree by tree, never again what was refused.

        `listed_too`: also where place, size and time agree. `likely`: of what stays only those that most likely hold
        what is looked for (same place or same time), which saves reading others of a size.
        """
        sql = MINE_TO_READ if side == "mine" else OTHERS_LIKELY if likely else OTHERS_TO_READ
        self._engine.execute(UNHELD)
        rows = self._engine.query(sql, [listed_too])
        trees = integers(rows["tree"])
        for number in np.unique(trees).tolist():
            ours = rows.filter(pa.array(trees == number))
            for start in range(0, len(ours), AT_ONCE):
                yield self._named(side, number, ours.slice(start, AT_ONCE))

    def take(self, asked: ToRead, hashed: Sequence[HashedFile]) -> int:
        """Take what was read of what was asked for; return how many files had other figures than listed.

        A file that is not among them, or had other figures, is not asked for again: it stays without a digest.
        """
        known = {path: number for number, path in enumerate(asked.paths)}
        places, digests, other = list[int](), list[bytes](), 0
        for one in hashed:
            number = known[one.path]
            ctime = asked.ctimes[number]
            moved = one.ctime_ns is not None and ctime is not None and one.ctime_ns != ctime
            if moved or (one.size, one.mtime_ns) != (asked.sizes[number], asked.mtimes[number]):
                other += 1
                continue
            places.append(asked.places[number])
            digests.append(one.digest)
        table = self._contents(digests).append_column("place", pa.array(places, pa.int64()))
        tried = pa.table({"place": pa.array(asked.places, pa.int64())})
        self._read(asked.side, asked.tree, table)
        self._engine.execute(SET_TRIED[asked.side], [asked.tree], {"told": tried})
        return other

    def left_to_read(self) -> list[tuple[bool, int, int, int]]:
        """Return what is not read yet and would decide: (it leaves, number of its tree, files, bytes)."""
        self._engine.execute(UNHELD)
        rows = self._engine.query(LEFT_TO_READ).to_pylist()
        return [(row["leaves"], row["tree"], row["files"], row["bytes"]) for row in rows]

    def classes(self, perhaps: Sequence[DatasetId]) -> dict[Held, Tally]:
        """Say how much is in each class.

        `perhaps` are datasets of which a place that stays was not seen at all: it may hold any file of theirs.
        """
        self._engine.execute(UNHELD)
        numbers = [self.datasets.index(one) for one in perhaps if one in self.datasets]
        table = pa.table({"dataset": pa.array(numbers, pa.int32())})
        self._engine.execute(CLASSES, tables={"unseen": table})
        found = {
            Held(row["held"]): Tally(files=row["files"], bytes=row["bytes"])
            for row in self._engine.query(SUMS).to_pylist()
        }
        whole = sum((seen.kinds.files for seen in self.seen), Tally())
        rest = sum(found.values(), Tally())
        held = Tally(files=whole.files - rest.files, bytes=whole.bytes - rest.bytes)
        return {**found, Held.CONTENT: held}

    def differing(self) -> list[tuple[DatasetId, int, int, bytes]]:
        """Return where files that are held have another content at their own place, though size and time agree.

        Each with its dataset, the staying tree's number, how many files, and the path of the largest there. Only after
        `classes`.
        """
        rows = self._engine.query(DIFFERING).to_pylist()
        paths = [self.paths("others", row["tree"], np.array([row["place"]]))[0] for row in rows]
        return [(self.datasets[r["dataset"]], r["tree"], r["files"], path) for r, path in zip(rows, paths, strict=True)]

    def lone(self, volumes: Sequence[VolumeKey], most: int) -> tuple[LoneFile, ...]:
        """Name the files that are not held, those that are only here first, then the largest; `most` of them.

        `volumes` are the leaving trees' in their order. Only after `classes`.
        """
        rows = self._engine.query(LARGEST, [most])
        trees, places = integers(rows["tree"]), integers(rows["place"])
        paths: dict[int, bytes] = {}
        for number in np.unique(trees).tolist():
            mine = np.flatnonzero(trees == number)
            paths.update(zip(mine.tolist(), self.paths("mine", number, places[mine]), strict=True))
        return tuple(
            LoneFile(
                path=self.leaving[row["tree"]].in_volume(paths[number]),
                volume=volumes[row["tree"]],
                size=row["size"],
                held=Held(row["held"]),
                why=why_lone(row),
                dataset=None if row["dataset"] == NOBODY else self.datasets[row["dataset"]],
                left_out=row["left_out"],
            )
            for number, row in enumerate(rows.to_pylist())
        )

    def paths(self, side: str, tree: int, places: Any) -> list[bytes]:
        """Return the paths, below the tree's root, of rows of one tree."""
        trees = self.leaving if side == "mine" else tuple(one.tree for one in self.staying)
        with RowReader(trees[tree].manifest.file) as reader:
            found: list[bytes] = Tree(reader).late(places, "path").to_pylist()
        return found

    def _named(self, side: str, tree: int, rows: Any) -> ToRead:
        places = integers(rows["place"])
        return ToRead(
            side=side,
            tree=tree,
            places=tuple(places.tolist()),
            paths=tuple(self.paths(side, tree, places)),
            sizes=tuple(rows["size"].to_pylist()),
            mtimes=tuple(rows["mtime"].to_pylist()),
            ctimes=tuple(rows["ctime"].to_pylist()),
        )

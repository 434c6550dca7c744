"""Specifications of mtree(5), as NetBSD's and FreeBSD's mtree and libarchive write them.

Relative entries (a folder is entered, `..` leaves it) and full paths, not both in turn: which folder a relative entry
then lies in differs between programs. Every entry needs its type, every parent an entry of its own. A path that comes
twice is refused, but for the root. `optional` entries may be absent with all that lies below them, what lies below an
`ignore`d folder is not listed, and of a `nochange` entry only its being there is meant: these are blind places. Names
are taken as they stand, also where they look like patterns.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from coverage_audit.collectors.readers.open_manifests.digests import strongest
from coverage_audit.collectors.readers.open_manifests.listed_tree import Gathering, ListedTree
from coverage_audit.collectors.readers.open_manifests.mtree_lines import Entry, entries
from coverage_audit.collectors.readers.open_manifests.mtree_place import Place
from coverage_audit.collectors.readers.open_manifests.mtree_words import (
    ALGORITHMS,
    KINDS,
    digest,
    nanoseconds,
    number,
    unescaped,
)
from coverage_audit.collectors.readers.open_manifests.paths import LONGEST_PATH
from coverage_audit.collectors.readers.open_manifests.refusal import OpenManifestError
from coverage_audit.evidence.batches.listed import ListedColumns
from coverage_audit.evidence.manifest import Blind, Kind
from coverage_audit.evidence.visible import visible

_ANEW: Final = "make the specification anew"


def parse_mtree(text: bytes) -> ListedTree:
    """Read a specification. Raises OpenManifestError."""
    reading = _Reading(len(text), _algorithm(text))
    for entry in entries(text):
        reading.take(entry)
    return reading.tree()


def _algorithm(text: bytes) -> str | None:
    """Choose the strongest of the algorithms that most files bear."""
    counts: dict[str, int] = {}
    for entry in entries(text):
        if entry.get(b"type") == b"file":
            for algorithm in {ALGORITHMS[key] for key, _ in entry.words if key in ALGORITHMS}:
                counts[algorithm] = counts.get(algorithm, 0) + 1
    most = max(counts.values(), default=0)
    return strongest({name for name, count in counts.items() if count == most}) if most else None


@dataclass(frozen=True, kw_only=True)
class _Numbers:
    size: int | None
    mtime: int | None
    links: int | None
    target: bytes | None


class _Reading:
    """The rows of a specification, and what some of its files lack."""

    def __init__(self, size: int, algorithm: str | None) -> None:
        self._rows = Gathering(size)
        self._algorithm = algorithm
        self._place = Place()
        self._lacks = {"ctime", "blocks"}
        self._blind: list[Blind] = []
        self._optional: set[bytes] = set()  # folders that may be absent, and those below them

    def take(self, entry: Entry) -> None:
        """Take an entry, or the `..` that leaves a folder. Raises OpenManifestError for what is no entry of a tree."""
        if entry.name == b"..":
            self._place.leave(entry.line)
            return
        kind = KINDS.get(entry.get(b"type") or b"")
        if kind is None:
            said = entry.get(b"type")
            why = "it has no type" if said is None else f"the type {visible(said[:40])} is not known"
            raise OpenManifestError(why, "make it with the keyword type (mtree -c -k type,size,time)", line=entry.line)
        path = self._place.path(entry, kind)
        if entry.get(b"ignore") is not None:
            self._blind.append(Blind(path=path, why="its specification says to ignore what lies below it"))
        if not path:
            return  # the root itself is no row
        if entry.get(b"optional") is not None or path.rpartition(b"/")[0] in self._optional:
            self._optional |= {path} if kind is Kind.FOLDER else set()
            self._blind.append(Blind(path=path, why="its specification says that it may be absent"))
            return
        if entry.get(b"nochange") is not None and kind is not Kind.FOLDER:
            self._blind.append(Blind(path=path, why="its specification says nothing of it but that it is there"))
            return
        self._add(entry, kind, path)

    def tree(self) -> ListedTree:
        """Return what was read. Raises OpenManifestError where it was cut, or cannot be a tree."""
        self._place.end()
        columns = self._rows.columns(count_links="links" not in self._lacks)
        return ListedTree(
            columns=ListedColumns(
                kinds=columns.kinds,
                paths=columns.paths,
                sizes=_zeroes(columns) if "size" in self._lacks else columns.sizes,
                mtimes=_zeroes(columns) if "mtime" in self._lacks else columns.mtimes,
                targets=columns.targets,
                digests=columns.digests,
                links=columns.links,
            ),
            lacks=frozenset(self._lacks),
            digest=self._algorithm,
            how="mtree",
            blind=tuple(self._blind),
        )

    def _add(self, entry: Entry, kind: Kind, path: bytes) -> None:
        rows, numbers = self._rows, _numbers(entry)
        rows.add(kind, path, entry.line, self._digest(entry) if kind is Kind.FILE else None)
        target = numbers.target if kind is Kind.LINK else None
        rows.spend(len(target or b""), entry.line)
        size = {Kind.FILE: numbers.size, Kind.LINK: len(target or b"")}.get(kind, 0)
        lacking = {
            "size": size is None,
            "mtime": numbers.mtime is None and kind in {Kind.FILE, Kind.LINK},
            "links": numbers.links is None and kind is Kind.FILE,
            "targets": target is None and kind is Kind.LINK,
        }
        self._lacks |= {word for word, lacks in lacking.items() if lacks}
        rows.sizes.append(size or 0)
        rows.mtimes.append(numbers.mtime or 0)
        rows.links.append(numbers.links or 0)
        rows.targets.append(target)

    def _digest(self, entry: Entry) -> bytes | None:
        found = None
        for key, word in entry.words:
            if key in ALGORITHMS:
                value = digest(word, ALGORITHMS[key])
                if value is None:
                    raise OpenManifestError(
                        f"{visible(word[:140])} is no whole {ALGORITHMS[key]} digest", _ANEW, line=entry.line
                    )
                found = value if ALGORITHMS[key] == self._algorithm else found
        return found


def _zeroes(columns: ListedColumns) -> list[int]:
    return [0] * len(columns.kinds)


def _numbers(entry: Entry) -> _Numbers:
    """Read what an entry says. Raises OpenManifestError for a value of no sense."""
    target = entry.get(b"link")
    size, time, count = entry.get(b"size"), entry.get(b"time"), entry.get(b"nlink")
    read = _Numbers(
        size=None if size is None else number(size),
        mtime=None if time is None else nanoseconds(time),
        links=None if count is None else number(count),
        target=None if target is None else unescaped(target),
    )
    pairs = (("size", size, read.size), ("time", time, read.mtime), ("nlink", count, read.links))
    for word, said, value in (*pairs, ("link", target, read.target)):
        if said is not None and value is None:
            raise OpenManifestError(f"{word}={visible(said[:80])} makes no sense", _ANEW, line=entry.line)
    if read.target is not None and (b"\0" in read.target or len(read.target) > LONGEST_PATH):
        raise OpenManifestError("the target of the link can be none", _ANEW, line=entry.line)
    return read

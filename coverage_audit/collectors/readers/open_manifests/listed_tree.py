"""What an open manifest lists, and what it does not: rows by columns, checked as a whole before they are evidence."""

from __future__ import annotations

from array import array
from dataclasses import dataclass
from itertools import pairwise
from typing import Final

from coverage_audit.collectors.readers.open_manifests.refusal import OpenManifestError
from coverage_audit.evidence.batches.listed import ListedColumns
from coverage_audit.evidence.manifest import Blind, Kind
from coverage_audit.evidence.visible import visible

_GROWTH: Final = 32  # bytes of paths and targets for each byte of the text: more is made to fill memory
_ALLOWED: Final = 1 << 20
_FOLDER: Final = ord(Kind.FOLDER)
LONGEST_NUMBER: Final = 2**63 - 1


@dataclass(frozen=True, kw_only=True)
class ListedTree:
    """A tree as an open manifest lists it, in the manifest's order.

    `lacks` are the words of `evidence.manifest.Origin`: what the format, or this manifest, does not offer. `digest`
    is the algorithm of its digests, None without any. `blind` are places that it names without vouching for them.
    """

    columns: ListedColumns
    lacks: frozenset[str]
    digest: str | None
    how: str
    blind: tuple[Blind, ...] = ()

    def __len__(self) -> int:
        """Return the number of rows."""
        return len(self.columns.kinds)


class Gathering:
    """Rows that are being read out of a text of `size` bytes; `within` names it among several."""

    def __init__(self, size: int, within: bytes = b"") -> None:
        self._room = size * _GROWTH + _ALLOWED
        self._within = within
        self.kinds = bytearray()
        self.paths: list[bytes] = []
        self.sizes = array("q")
        self.mtimes = array("q")
        self.links = array("q")
        self.targets: list[bytes | None] = []
        self.digests: list[bytes | None] = []
        self.lines = array("q")

    def add(self, kind: Kind, path: bytes, line: int, digest: bytes | None) -> None:
        """Take the row of a path. Raises OpenManifestError where paths grow beyond all that a tree can have."""
        self.spend(len(path), line)
        self.kinds += kind.encode()
        self.paths.append(path)
        self.lines.append(line)
        self.digests.append(digest)

    def spend(self, size: int, line: int) -> None:
        """Count bytes that the rows take up."""
        self._room -= size
        if self._room < 0:
            raise OpenManifestError(
                "its names take up far more than the file itself: it is made to fill memory",
                "make the manifest anew with full paths",
                line=line,
                within=self._within,
            )

    def columns(self, *, count_links: bool = False) -> ListedColumns:
        """Return the rows. Raises OpenManifestError where there are none, or where they cannot be one tree."""
        if not self.paths:
            raise OpenManifestError(
                "it lists nothing: a list that failed looks the same", "make the manifest anew", within=self._within
            )
        self._refuse_impossible()
        count = len(self.paths)
        return ListedColumns(
            kinds=bytes(self.kinds),
            paths=self.paths,
            sizes=self.sizes or array("q", bytes(8 * count)),
            mtimes=self.mtimes or array("q", bytes(8 * count)),
            targets=self.targets or [None] * count,
            digests=self.digests,
            links=self.links if count_links else None,
        )

    def _refuse_impossible(self) -> None:
        """In tree order whatever lies below a path follows it at once, and a path that comes twice its double."""
        keys = [path.replace(b"/", b"\0") for path in self.paths]
        order = sorted(range(len(keys)), key=keys.__getitem__)
        for before, after in pairwise(order):
            first, line = sorted((self.lines[before], self.lines[after]))
            if keys[before] == keys[after]:
                raise OpenManifestError(
                    f"{visible(self.paths[after])} is listed twice, first in line {first}",
                    "leave only the line that is right",
                    line=line,
                    within=self._within,
                )
            if self.kinds[before] != _FOLDER and keys[after].startswith(keys[before] + b"\0"):
                raise OpenManifestError(
                    f"{visible(self.paths[before])} is a folder (line {self.lines[after]}), but listed as none",
                    "make the manifest anew",
                    line=self.lines[before],
                    within=self._within,
                )

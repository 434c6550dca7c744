"""What of the files that leave is held by what stays: each file's class, and how much is in each.

Paths are bytes below their volume, sizes bytes.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from enum import StrEnum

from coverage_audit.estate.model import DatasetId, VolumeKey
from coverage_audit.evidence.difference import Tally


class Held(StrEnum):
    """How a file that leaves is held by what stays, as far as this audit saw it."""

    CONTENT = "held elsewhere"  # its content was seen on both sides
    ONLY_HERE = "only here"  # no place that was seen has a file of its size whose content is not another
    BY_LISTING = "by listing only"  # same place, size and time; the content was not seen on both sides
    BY_SIZE = "not hashed"  # files of its size are elsewhere; whether one has its content was not seen
    PERHAPS = "perhaps elsewhere"  # only a place may hold it that is no evidence now


@dataclass(frozen=True, kw_only=True)
class LoneFile:
    """A file that no staying place is shown to hold. `why` says what was seen of others of its size."""

    path: bytes
    volume: VolumeKey
    size: int
    held: Held
    why: str
    dataset: DatasetId | None = None
    left_out: bool = False


@dataclass(frozen=True, kw_only=True)
class NotKeptTally:
    """What a pattern of what need not be kept took out of the question, on whose word and why.

    `claimed` is what of it lies where a dataset has its place.
    """

    pattern: str
    who: str
    why: str
    tally: Tally
    claimed: Tally = field(default_factory=Tally)


@dataclass(frozen=True, kw_only=True)
class Kinds:
    """What lies on what leaves, kind by kind. `links_out` are those of `links` that lead outside their volume.

    `hard_linked`, `empty` and `left_out` are parts of `files`: names of a file that has several, files of no bytes, and
    what the datasets leave out of their copies. `others` are devices, pipes and sockets: they hold no content.
    """

    files: Tally = field(default_factory=Tally)
    hard_linked: Tally = field(default_factory=Tally)
    empty: int = 0
    left_out: Tally = field(default_factory=Tally)
    links: int = 0
    links_out: int = 0
    others: int = 0
    folders: int = 0

    def __add__(self, more: Kinds) -> Kinds:
        """Add what lies somewhere else."""
        return Kinds(
            files=self.files + more.files,
            hard_linked=self.hard_linked + more.hard_linked,
            empty=self.empty + more.empty,
            left_out=self.left_out + more.left_out,
            links=self.links + more.links,
            links_out=self.links_out + more.links_out,
            others=self.others + more.others,
            folders=self.folders + more.folders,
        )


@dataclass(frozen=True, kw_only=True)
class Elsewhere:
    """All files that leave, by class. `lone` names those that are not held, the largest first, up to a bound."""

    kinds: Kinds
    held: dict[Held, Tally]
    lone: tuple[LoneFile, ...]
    not_kept: tuple[NotKeptTally, ...] = ()

    def of(self, *classes: Held) -> Tally:
        """Return how much is in one of these classes."""
        return sum((self.held.get(one, Tally()) for one in classes), Tally())

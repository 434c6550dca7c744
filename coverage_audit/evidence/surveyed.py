"""What lies on a volume, by folder and by who claims it; and what a device has mounted that no volume declares.

Sizes are bytes of regular files as their listing gives them; a file of several names counts at each with its part.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum

from coverage_audit.estate.model import DeviceId, VolumeKey
from coverage_audit.evidence.difference import Tally
from coverage_audit.evidence.facts import Gap, MountedFilesystem
from coverage_audit.evidence.manifest import Blind


class Share(StrEnum):
    """What is declared of some data."""

    CLAIMED = "claimed"
    NOT_KEPT = "not kept"
    LITTER = "litter"
    UNCLAIMED = "unclaimed"


@dataclass(frozen=True, kw_only=True, order=True)
class Holder:
    """Who has some data: a dataset (`role`: "original", "copy", "points"), another volume ("volume"), or nobody.

    For what need not be kept or is litter `name` is the pattern; `who` and `why` are the owner's word.
    """

    share: Share
    name: str = ""
    role: str = ""
    who: str = ""
    why: str = ""


NOBODY = Holder(share=Share.UNCLAIMED)


@dataclass(frozen=True, kw_only=True)
class Cell:
    """The files of one holder in one folder (relative to the volume, b"" is its root) and below."""

    folder: bytes
    holder: Holder
    tally: Tally


@dataclass(frozen=True, kw_only=True)
class VolumeSurvey:
    """All that lies on one volume. `cells` are disjoint, their folders at most `depth` deep.

    `at` is when the volume's listing began, `declared` stands for what was declared of the volume then. `blind` are
    the places that could not be read and that nobody claims: their sizes are unknown.
    """

    volume: VolumeKey
    at: datetime
    declared: str
    depth: int
    cells: tuple[Cell, ...]
    blind: tuple[Blind, ...] = ()

    def of(self, *shares: Share) -> Tally:
        """Return how much has one of these shares."""
        found = [cell.tally for cell in self.cells if cell.holder.share in shares]
        return Tally(files=sum(one.files for one in found), bytes=sum(one.bytes for one in found))


@dataclass(frozen=True, kw_only=True)
class Unclaimed:
    """A folder in which nothing is claimed; `loose`: only the files directly in it, for it holds what is claimed."""

    folder: bytes
    tally: Tally
    loose: bool = False


@dataclass(frozen=True, kw_only=True)
class SurveySummary:
    """What is remembered of a survey: figures, the largest unclaimed folders, some of what was unreadable."""

    volume: VolumeKey
    at: datetime
    declared: str
    claimed: Tally
    not_kept: Tally
    litter: Tally
    unclaimed: Tally
    largest: tuple[Unclaimed, ...] = ()
    blind: tuple[Blind, ...] = ()
    blind_places: int = 0


@dataclass(frozen=True, kw_only=True)
class VolumeLook:
    """What there is to judge a volume by: the newest survey (None: there never was one).

    `gap` says why this audit, which was to survey it, could not. `attached` is False for a volume on the shelf, which
    is as it was recorded however long ago.
    """

    volume: VolumeKey
    survey: SurveySummary | None
    gap: Gap | None = None
    attached: bool = True


@dataclass(frozen=True, kw_only=True)
class UndeclaredFilesystem:
    """A mounted filesystem that no volume declares. `partly`: volumes that lie on it and do not hold all of it."""

    device: DeviceId
    filesystem: MountedFilesystem
    partly: tuple[VolumeKey, ...] = ()

    @property
    def used(self) -> int | None:
        """How much of it is taken, in bytes; None where it does not show that."""
        seen = self.filesystem
        return None if seen.capacity is None or seen.free is None else max(0, seen.capacity - seen.free)


@dataclass(frozen=True, kw_only=True)
class Undeclared:
    """All that an audit knows of what nobody declared."""

    looks: tuple[VolumeLook, ...] = ()
    filesystems: tuple[UndeclaredFilesystem, ...] = ()

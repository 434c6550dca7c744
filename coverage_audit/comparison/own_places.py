"""Which dataset the auditor's own places belong to: the local volume and the original that each lies in."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import PurePosixPath

from coverage_audit.comparison.leaving_out import KEPT, LeavingOut, patterns_of
from coverage_audit.estate.access import LocalAccess
from coverage_audit.estate.model import Dataset, Estate, Volume
from coverage_audit.evidence.own import OwnPlace


@dataclass(frozen=True, kw_only=True)
class Placed:
    """One place, the deepest local volume that it lies on and the dataset to which it belongs.

    `left_out_by` is the pattern by which that dataset leaves it out.
    """

    place: OwnPlace
    volume: Volume | None = None
    dataset: Dataset | None = None
    left_out_by: str | None = None

    @property
    def folder(self) -> str:
        """The folder that a dataset would have to hold."""
        return str(PurePosixPath(self.place.path).parent)

    @property
    def address(self) -> str | None:
        """How an estate writes that folder (None: it lies on no volume)."""
        if self.volume is None or not PurePosixPath(self.folder).is_relative_to(self.volume.path):
            return None
        below = PurePosixPath(self.folder).relative_to(self.volume.path)
        return f"{self.volume.key}/{below}" if below.parts else str(self.volume.key)

    @property
    def is_covered(self) -> bool:
        """Whether it belongs to a dataset, which is judged like any other."""
        return self.dataset is not None and self.left_out_by is None


def placed(estate: Estate, place: OwnPlace) -> Placed:
    """Return where a place lies. Where several originals hold it, one that does not leave it out is named.

    Raises ComparisonError for a pattern that makes no sense.
    """
    volume = _volume(estate, place)
    if volume is None:
        return Placed(place=place)
    found = [
        Placed(place=place, volume=volume, dataset=dataset, left_out_by=_left_out_by(estate, dataset, below, place))
        for dataset, below in _datasets(estate, volume, place)
    ]
    covered = [one for one in found if one.is_covered]
    return next(iter([*covered, *found]), Placed(place=place, volume=volume))


def _volume(estate: Estate, place: OwnPlace) -> Volume | None:
    """Return the deepest: a volume inside another is a filesystem of its own."""
    here = [
        volume
        for device in estate.devices
        if isinstance(device.access, LocalAccess)
        for volume in device.volumes
        if PurePosixPath(place.path).is_relative_to(volume.path)
    ]
    return max(here, key=lambda volume: len(PurePosixPath(volume.path).parts), default=None)


def _datasets(estate: Estate, volume: Volume, place: OwnPlace) -> Iterator[tuple[Dataset, PurePosixPath]]:
    for dataset in estate.datasets:
        root = PurePosixPath(volume.path) / dataset.original.path
        if dataset.original.volume == volume.key and PurePosixPath(place.path).is_relative_to(root):
            yield dataset, PurePosixPath(place.path).relative_to(root)


def _left_out_by(estate: Estate, dataset: Dataset, below: PurePosixPath, place: OwnPlace) -> str | None:
    leaving = LeavingOut(patterns_of(estate.litter, dataset))
    tried = [(below, place.is_folder)] if below.parts else []
    if place.inside is not None:
        tried.append((below / place.inside, False))
    for path, is_folder in tried:
        number = leaving.which(str(path).encode("utf-8", "surrogateescape"), is_folder=is_folder)
        if number != KEPT:
            return leaving.patterns[number]
    return None

"""Whether what changes in a day fits through each declared link, and how long a first copy over it takes.

A link carries every copy that goes through it to or from another site. Sizes and growths are decimal bytes (a day).
What is rewritten or deleted in place shows in no growth: a day takes at least what is said.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from coverage_audit.estate.access import ShelfAccess
from coverage_audit.estate.model import DatasetId, Device, Estate
from coverage_audit.reckoning.uploading import Upload, upload


@dataclass(frozen=True, kw_only=True)
class Growth:
    """How large an original is, and by how much it grows a day at most; None: not known."""

    size: int | None
    a_day: int | None


@dataclass(frozen=True, kw_only=True)
class LinkLoad:
    """What the link of a device has to carry between sites: `datasets`, one for each copy.

    `upload` is of what is known; of `unsized` the size is not known, of `ungauged` the growth.
    """

    device: Device
    datasets: tuple[DatasetId, ...]
    upload: Upload
    unsized: tuple[DatasetId, ...]
    ungauged: tuple[DatasetId, ...]

    @property
    def fits(self) -> bool | None:
        """Whether a day's growth fits through it in a day (None: that cannot be told)."""
        if not self.upload.fits:
            return False
        return None if self.ungauged else True


def link_loads(estate: Estate, growths: Mapping[DatasetId, Growth]) -> tuple[LinkLoad, ...]:
    """Return the load of every declared link that copies go through from one site to another, the fullest first."""
    loads = [
        _load(device, device.link, carried, growths)
        for device in estate.devices
        if device.link is not None and (carried := tuple(_carried(device, estate)))
    ]
    return tuple(sorted(loads, key=lambda load: (-load.upload.share, load.device.id)))


def _carried(device: Device, estate: Estate) -> Iterator[DatasetId]:
    """Yield the dataset of each copy that goes through a device's link, once for each copy."""
    for dataset in estate.datasets:
        for copy in dataset.copies:
            source = estate.device((copy.taken_from or dataset.original).volume.device)
            target = estate.device(copy.address.volume.device)
            apart = source.site != target.site
            carried = not isinstance(source.access, ShelfAccess) and not isinstance(target.access, ShelfAccess)
            if apart and carried and device in {source, target}:
                yield dataset.id


def _load(device: Device, link: int, carried: tuple[DatasetId, ...], growths: Mapping[DatasetId, Growth]) -> LinkLoad:
    unknown = Growth(size=None, a_day=None)
    found = [(dataset, growths.get(dataset, unknown)) for dataset in carried]
    return LinkLoad(
        device=device,
        datasets=carried,
        upload=upload(
            device=device.id,
            link=link,
            change=sum(growth.a_day or 0 for _, growth in found),
            whole=sum(growth.size or 0 for _, growth in found),
        ),
        unsized=tuple(dict.fromkeys(dataset for dataset, growth in found if growth.size is None)),
        ungauged=tuple(dict.fromkeys(dataset for dataset, growth in found if growth.a_day is None)),
    )

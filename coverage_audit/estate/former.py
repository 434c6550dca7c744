"""What the estate's parts were called and where they lay before, so that what is known of them goes on.

A device keeps its volumes when it is renamed. A dataset keeps its copies; an original or a copy that moved is
still that original or copy. None of this says that what lies at the new place is what lay at the old one: the
history gives ages and sizes to hold it against, never evidence in its stead.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from coverage_audit.estate.model import Address, DatasetId, DeviceId, Estate, VolumeKey


@dataclass(frozen=True, kw_only=True)
class Lineage:
    """All names of each device and dataset, and all places of each original and copy: the present one first.

    `devices` and `datasets` hold what was renamed, `moved` the former addresses by dataset and present address.
    """

    devices: tuple[tuple[DeviceId, ...], ...] = ()
    datasets: tuple[tuple[DatasetId, ...], ...] = ()
    moved: Mapping[tuple[DatasetId, Address], tuple[Address, ...]] = field(default_factory=dict)

    def of_device(self, device: DeviceId) -> tuple[DeviceId, ...]:
        """Return all names of the device that has, or had, this one."""
        return next((names for names in self.devices if device in names), (device,))

    def of_dataset(self, dataset: DatasetId) -> tuple[DatasetId, ...]:
        """Return all names of the dataset that has this one."""
        return next((names for names in self.datasets if names[0] == dataset), (dataset,))

    def of_volume(self, volume: VolumeKey) -> tuple[VolumeKey, ...]:
        """Return a volume under all names of its device."""
        return tuple(VolumeKey(device=name, volume=volume.volume) for name in self.of_device(volume.device))

    def of_place(self, dataset: DatasetId, address: Address) -> tuple[Address, ...]:
        """Return all addresses of a dataset's original or copy, each under all names of its device."""
        places = (address, *self.moved.get((dataset, address), ()))
        named = (
            Address(volume=volume, path=place.path) for place in places for volume in self._named_first(place.volume)
        )
        return tuple(dict.fromkeys(named))

    def _named_first(self, volume: VolumeKey) -> Sequence[VolumeKey]:
        return (volume, *self.of_volume(volume))


NO_LINEAGE = Lineage()
"""Where nothing was renamed or moved."""


def lineage_of(estate: Estate) -> Lineage:
    """Gather what an estate declares of former names and places."""
    return Lineage(
        devices=tuple((device.id, *device.formerly) for device in estate.devices if device.formerly),
        datasets=tuple((dataset.id, *dataset.formerly) for dataset in estate.datasets if dataset.formerly),
        moved={
            (dataset.id, place.address): place.moved_from
            for dataset in estate.datasets
            for place in dataset.copies
            if place.moved_from
        }
        | {(dataset.id, dataset.original): dataset.moved_from for dataset in estate.datasets if dataset.moved_from},
    )

"""What leaves when devices or volumes are retired: they themselves, and all that is declared to stand on them."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from coverage_audit.estate.model import Address, Dataset, DeviceId, Estate, Volume, VolumeKey


@dataclass(frozen=True, kw_only=True)
class Leaving:
    """Devices that leave whole, and all volumes that leave. `falls` says of what was not asked for why it goes too."""

    devices: frozenset[DeviceId]
    volumes: frozenset[VolumeKey]
    falls: tuple[str, ...] = ()

    def holds(self, address: Address) -> bool:
        """Whether a place lies on what leaves."""
        return address.volume in self.volumes

    def touches(self, dataset: Dataset) -> bool:
        """Whether any place of a dataset lies on what leaves."""
        return any(map(self.holds, dataset.places))


def leaving_with(estate: Estate, devices: Iterable[DeviceId], volumes: Iterable[VolumeKey]) -> Leaving:
    """Return all that leaves when these do: guests fall with their host, what is stored on a volume falls with it."""
    gone, lost = set(devices), set(volumes)
    falls: dict[str, None] = {}
    while True:
        before = len(gone), len(lost)
        for device in estate.devices:
            if device.id not in gone and device.runs_on in gone:
                gone.add(device.id)
                falls[f"{device.id} runs on {device.runs_on}"] = None
            for volume in device.volumes:
                _let_go(volume, gone, lost, falls)
        if before == (len(gone), len(lost)):
            return Leaving(devices=frozenset(gone), volumes=frozenset(lost), falls=tuple(falls))


def _let_go(volume: Volume, gone: set[DeviceId], lost: set[VolumeKey], falls: dict[str, None]) -> None:
    if volume.key in lost:
        return
    if volume.key.device in gone:
        lost.add(volume.key)
    elif volume.stored_on is not None and volume.stored_on in lost:
        lost.add(volume.key)
        falls[f"{volume.key} is stored on {volume.stored_on}"] = None

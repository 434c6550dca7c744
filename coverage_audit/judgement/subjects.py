"""What findings are about, as words that can be typed into a shell unquoted and never change."""

from __future__ import annotations

from urllib.parse import quote

from coverage_audit.estate.model import Address, DatasetId, DeviceId, VolumeKey

_IN_A_NAME = ".-_+"
_IN_AN_ADDRESS = "/:.-_+"
"""Left as they are besides letters and digits; none of these means anything to a POSIX shell inside a word."""


def dataset_subject(dataset: DatasetId) -> str:
    """Name a dataset."""
    return quote(dataset, safe=_IN_A_NAME, errors="surrogateescape")


def criterion_subject(dataset: DatasetId, criterion: str) -> str:
    """Name one declared criterion of a dataset."""
    return f"{quote(dataset, safe=_IN_A_NAME)}/{quote(criterion, safe=_IN_A_NAME)}"


def place_subject(dataset: DatasetId, address: Address) -> str:
    """Name a dataset's original or one of its copies."""
    return f"{quote(dataset, safe=_IN_A_NAME)}@{_address(str(address))}"


def device_subject(device: DeviceId) -> str:
    """Name a device."""
    return quote(device, safe=_IN_A_NAME)


def volume_subject(volume: VolumeKey) -> str:
    """Name a volume."""
    return _address(str(volume))


def mount_subject(device: DeviceId, target: str) -> str:
    """Name a mounted filesystem of a device by where it is mounted."""
    return f"{quote(device, safe=_IN_A_NAME)}:{_address(target)}"


def _address(text: str) -> str:
    return quote(text, safe=_IN_AN_ADDRESS, errors="surrogateescape")

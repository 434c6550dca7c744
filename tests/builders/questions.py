"""Questions for tests: a device with volumes in given folders, and what is asked of it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path

from coverage_audit.estate.access import Access, LocalAccess
from coverage_audit.estate.model import (
    Address,
    Copy,
    Device,
    DeviceId,
    Medium,
    SiteId,
    Volume,
    VolumeId,
    VolumeKey,
)
from coverage_audit.estate.sources import DatedFolders
from coverage_audit.evidence.collected import Question


def an_address(text: str) -> Address:
    """Return the address written `device:volume/path`."""
    device, _, rest = text.partition(":")
    volume, _, path = rest.partition("/")
    return Address(volume=VolumeKey(device=DeviceId(device), volume=VolumeId(volume)), path=path)


def a_device(name: str, volumes: Mapping[str, Path], access: Access | None = None) -> Device:
    """Return a device whose volumes lie in these folders."""
    return Device(
        id=DeviceId(name),
        site=SiteId("station"),
        access=access or LocalAccess(),
        volumes=tuple(
            Volume(key=VolumeKey(device=DeviceId(name), volume=VolumeId(volume)), path=str(folder), medium=Medium.HDD)
            for volume, folder in volumes.items()
        ),
    )


def a_question(
    device: Device, trees: Sequence[str], pointed: Mapping[str, str] | None = None, skip: Sequence[str] = ()
) -> Question:
    """Ask a device for trees and for dated copies (address with `{point}`: its strptime pattern)."""
    copies = [
        Copy(address=an_address(text), points=DatedFolders(pattern=pattern))
        for text, pattern in (pointed or {}).items()
    ]
    return Question(
        device=device,
        volumes=device.volumes,
        trees=tuple(map(an_address, trees)),
        pointed=tuple(copies),
        skip_points=frozenset(map(an_address, skip)),
    )

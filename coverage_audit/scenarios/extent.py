"""How far a failure reaches by declaration: the devices and volumes that fall with it, and which failures there are."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from coverage_audit.estate.model import DeviceId, Estate, Volume, VolumeKey
from coverage_audit.judgement.arrays import losses_stood
from coverage_audit.judgement.domains import (
    Domain,
    DomainKind,
    device_domain,
    drive_domain,
    in_words,
    shared_domain,
    site_domain,
    volume_domain,
)
from coverage_audit.judgement.falling import of_device, of_volume
from coverage_audit.scenarios.loss import AlsoFalls


@dataclass(frozen=True, kw_only=True)
class Extent:
    """What falls with one failure. `also` are the guests and what is stored on what falls, each with the words why."""

    said: str
    devices: tuple[DeviceId, ...]
    volumes: tuple[VolumeKey, ...]
    also: tuple[AlsoFalls, ...]


def every_domain(estate: Estate) -> tuple[Domain, ...]:
    """Return all failures that can be asked about, the widest first."""
    found = {domain: None for device in estate.devices for domain in of_device(device.id, estate)}
    found |= dict.fromkeys(site_domain(site.id) for site in estate.sites)
    for volume in _volumes(estate):
        found |= dict.fromkeys((volume_domain(volume.key), *_drives(volume)))
    return tuple(sorted(found, key=lambda domain: (-domain.breadth, domain.name)))


def worth_telling(estate: Estate) -> tuple[Domain, ...]:
    """Return the failures for a table of all: each volume of a box of several, and one drive of each array.

    A box's only volume falls with it, and drives of one array do the same: the oldest stands for all.
    """
    alone = {device.volumes[0].key for device in estate.devices if len(device.volumes) == 1}
    drives = {drive_domain(volume.key, _oldest(volume)) for volume in _volumes(estate) if losses_stood(volume)}
    return tuple(
        domain
        for domain in every_domain(estate)
        if domain.kind not in {DomainKind.VOLUME, DomainKind.DRIVE}
        or domain in drives
        or (domain.kind is DomainKind.VOLUME and domain.name not in {str(key) for key in alone})
    )


def volume_of(domain: Domain, estate: Estate) -> Volume | None:
    """Return the volume that a drive or a volume is of (None: the failure is of neither)."""
    name = domain.name.rpartition("#")[0] if domain.kind is DomainKind.DRIVE else domain.name
    return next((volume for volume in _volumes(estate) if str(volume.key) == name), None)


def extent_of(domain: Domain, estate: Estate) -> Extent:
    """Return what falls with a failure by declaration."""
    volume_falls = {volume.key: of_volume(volume, estate) for volume in _volumes(estate)}
    device_falls = {device.id: of_device(device.id, estate) for device in estate.devices}
    devices = tuple(device for device, falls in device_falls.items() if domain in falls)
    volumes = tuple(key for key, falls in volume_falls.items() if falls.by(frozenset({domain})))
    also = [AlsoFalls(name=str(d), why=device_falls[d][domain]) for d in devices if _as_guest(d, domain, estate)]
    also += [
        AlsoFalls(name=str(key), why=volume_falls[key].certain[domain])
        for key in volumes
        if key.device not in devices and domain.name != str(key) and domain in volume_falls[key].certain
    ]
    return Extent(said=in_words(domain), devices=devices, volumes=volumes, also=tuple(also))


def _as_guest(device: DeviceId, domain: Domain, estate: Estate) -> bool:
    """Whether a device falls because it runs on another one that does."""
    own = estate.device(device)
    direct = {device_domain(device), site_domain(own.site), *(shared_domain(*shared) for shared in own.failure_domains)}
    return domain not in direct


def _volumes(estate: Estate) -> Iterator[Volume]:
    yield from (volume for device in estate.devices for volume in device.volumes)


def _drives(volume: Volume) -> tuple[Domain, ...]:
    return tuple(drive_domain(volume.key, number) for number in range(1, len(volume.drives) + 1))


def _oldest(volume: Volume) -> int:
    """Return the number of the drive that is longest in service; those of which nothing is declared come last."""
    ages = [(drive.in_service is None, drive.in_service, number) for number, drive in enumerate(volume.drives, start=1)]
    return min(ages, key=lambda age: (age[0], str(age[1]), age[2]))[2]

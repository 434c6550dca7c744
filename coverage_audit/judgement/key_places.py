"""Sites and devices as places that keep a key: where it can be had, and by what failures it is lost."""

from __future__ import annotations

from coverage_audit.estate.access import ShelfAccess
from coverage_audit.estate.model import Device, Estate
from coverage_audit.judgement.domains import Domain, site_domain
from coverage_audit.judgement.falling import of_device


def keys_left(estate: Estate, failed: Domain | None = None) -> frozenset[str]:
    """Return the sites and devices at which a key that is kept there can be had, after one failure or none.

    Of a loose drive that is encrypted as a whole it can be had only where its own key can: not of two that keep each
    other's.
    """
    left = [device for device in estate.devices if failed not in of_device(device.id, estate)]
    loose = [device for device in left if isinstance(device.access, ShelfAccess)]
    found = {str(site.id) for site in estate.sites if site_domain(site.id) != failed}
    found |= {str(device.id) for device in left if device not in loose}
    while True:
        more = {
            str(device.id)
            for device in loose
            if any(not volume.encrypted or found.intersection(volume.key_kept) for volume in device.volumes)
        }
        if more <= found:
            return frozenset(found)
        found |= more


def falls_of_keeper(name: str, estate: Estate) -> frozenset[Domain]:
    """Return the failures by each of which a key that is kept at a site or device is lost.

    A loose drive that is encrypted as a whole gives no key away once its own is lost.
    """
    sites = {str(site.id): site.id for site in estate.sites}
    if name in sites:
        return frozenset({site_domain(sites[name])})
    device = next(device for device in estate.devices if device.id == name)
    falls = frozenset(of_device(device.id, estate))
    if _is_locked(device):
        single = {domain for domain in _by_others(device, estate) if name not in keys_left(estate, domain)}
        return falls | single
    return falls


def _is_locked(device: Device) -> bool:
    return isinstance(device.access, ShelfAccess) and all(volume.encrypted for volume in device.volumes)


def _by_others(device: Device, estate: Estate) -> set[Domain]:
    """Return every failure that takes some place of a loose drive's own key."""
    keepers = {keeper for volume in device.volumes for keeper in volume.key_kept if keeper != device.id}
    sites = {site_domain(site.id) for site in estate.sites if site.id in keepers}
    return sites.union(*(of_device(other.id, estate) for other in estate.devices if other.id in keepers))

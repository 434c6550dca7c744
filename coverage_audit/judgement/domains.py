"""Failure domains: what can be lost at one blow, as a closed set of kinds, and how each is spelled.

A device is spelled by its id, a volume as `device:volume`, one drive of it as `device:volume#2` (the second that is
declared), a site as `site=station`, whatever else devices share as `kind=name` (`room=lab`, `power=mains`).
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from typing import Final

from coverage_audit.estate.model import DeviceId, SiteId, VolumeKey

ACCOUNT: Final = "account"
"""The kind of what is shared by which an admin account is declared."""

SITE: Final = "site"


class DomainKind(StrEnum):
    """What sort of failure it is. The order is from the narrowest to the widest."""

    DRIVE = "drive"
    VOLUME = "volume"
    DEVICE = "device"
    ACCOUNT = "account"  # an admin account: what one stolen password could erase
    SHARED = "shared"  # a room, a power feed: whatever several devices share
    SITE = "site"


@dataclass(frozen=True, kw_only=True, order=True)
class Domain:
    """One failure. `name` is how it is spelled, by commands and on every page."""

    kind: DomainKind
    name: str

    def __str__(self) -> str:
        """Spell it."""
        return self.name

    @property
    def breadth(self) -> int:
        """Return how wide it is; the kinds are declared from the narrowest to the widest."""
        return tuple(DomainKind).index(self.kind)


def device_domain(device: DeviceId) -> Domain:
    """Return the loss of a device with all that is in it."""
    return Domain(kind=DomainKind.DEVICE, name=str(device))


def volume_domain(volume: VolumeKey) -> Domain:
    """Return the loss of a volume."""
    return Domain(kind=DomainKind.VOLUME, name=str(volume))


def drive_domain(volume: VolumeKey, number: int) -> Domain:
    """Return the loss of one drive of a volume; the first that is declared is number 1."""
    return Domain(kind=DomainKind.DRIVE, name=f"{volume}#{number}")


def site_domain(site: SiteId) -> Domain:
    """Return the loss of a site with all that is there."""
    return Domain(kind=DomainKind.SITE, name=f"{SITE}={site}")


def shared_domain(kind: str, name: str) -> Domain:
    """Return the loss of something that devices share; of an admin account it is that somebody erases by it."""
    return Domain(kind=DomainKind.ACCOUNT if kind == ACCOUNT else DomainKind.SHARED, name=f"{kind}={name}")


def in_words(domain: Domain) -> str:
    """Say what fails, as part of a sentence."""
    kind, _, name = domain.name.partition("=")
    match domain.kind:
        case DomainKind.DRIVE:
            volume, _, number = domain.name.rpartition("#")
            return f"drive {number} of {volume}"
        case DomainKind.VOLUME | DomainKind.DEVICE:
            return f"the {domain.kind} {domain.name}"
        case DomainKind.ACCOUNT:
            return f"the admin account {name}"
        case DomainKind.SHARED | DomainKind.SITE:
            return f"the {kind} {name}"

"""What a place falls with: the failure domains by which all that it holds would be lost.

By declaration: its volume, its device, what those stand on, and what these share with others. By what was seen: all
that another place falls with which shows itself to be the same machine or filesystem. What is not shown to be apart may
fall with it. What is offline, or shown to be immutable, cannot be erased by an admin account; what is only declared
immutable may be.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field

from coverage_audit.estate.model import DeviceId, Estate, SiteId, Volume, VolumeKey
from coverage_audit.evidence.facts import VolumeFacts
from coverage_audit.judgement.case import PlaceEvidence
from coverage_audit.judgement.counting import Holding
from coverage_audit.judgement.domains import (
    Domain,
    DomainKind,
    device_domain,
    drive_domain,
    shared_domain,
    site_domain,
    volume_domain,
)
from coverage_audit.judgement.filesystems import filesystems_shown_one
from coverage_audit.judgement.firmness import Firm
from coverage_audit.judgement.hosting import Machines, stands_on
from coverage_audit.judgement.independence import Apart, Relation, Relations
from coverage_audit.judgement.shelf import site_of
from coverage_audit.judgement.wording import joined
from coverage_audit.reckoning.parity import array_of


@dataclass(frozen=True, kw_only=True)
class DriveGroup:
    """The drives of a volume that stands some losses: it is lost with `needed` of them."""

    volume: VolumeKey
    drives: tuple[Domain, ...]
    needed: int


@dataclass(frozen=True, kw_only=True)
class Falls:
    """What a place falls with, each with the words why; with `perhaps` it may fall, as nothing shows that it does not.

    `groups` are drives of which several must be lost. `kept_from` says of each admin account that reaches it why it
    cannot be erased all the same.
    """

    certain: Mapping[Domain, str]
    perhaps: Mapping[Domain, str] = field(default_factory=dict)
    groups: tuple[DriveGroup, ...] = ()
    kept_from: Mapping[Domain, str] = field(default_factory=dict)

    def by(self, failed: frozenset[Domain], *, perhaps: bool = False) -> bool:
        """Whether it falls when all of these fail; with `perhaps`, whether it may fall."""
        if failed & self.certain.keys() or (perhaps and failed & self.perhaps.keys()):
            return True
        return any(len(failed.intersection(group.drives)) >= group.needed for group in self.groups)

    def domains(self) -> frozenset[Domain]:
        """Return every failure that has a part in its falling."""
        drives = (drive for group in self.groups for drive in group.drives)
        return frozenset((*self.certain, *self.perhaps, *drives))


def falls_of(
    holdings: Sequence[Holding],
    found: Relations,
    estate: Estate,
    machines: Machines,
    others: Iterable[PlaceEvidence] = (),
) -> tuple[Falls, ...]:
    """Return what each place of a dataset falls with.

    `others` are places of other datasets: of their volumes only what is shown to be one with a place's own counts.
    """
    own = [_direct(holding, estate, machines) for holding in holdings]
    return tuple(_with_others(number, holdings, own, found, estate, others) for number in range(len(holdings)))


def of_device(device: DeviceId, estate: Estate) -> dict[Domain, str]:
    """Return what a device falls with by declaration: what it runs on, and what these share."""
    found: dict[Domain, str] = {}
    upon: DeviceId | None = device
    why = ""
    while upon is not None and device_domain(upon) not in found:
        found |= _of_one(upon, estate.device(upon).site, estate, why)
        below = estate.device(upon).runs_on
        why, upon = f"{upon} runs on {below}", below
    return found


def of_volume(volume: Volume, estate: Estate) -> Falls:
    """Return what a volume falls with by declaration."""
    certain: dict[Domain, str] = {}
    perhaps: dict[Domain, str] = {}
    groups: list[DriveGroup] = []
    for upon, why in _volumes(volume, estate):
        beneath = of_device(upon.key.device, estate)
        certain = {**{domain: said or why for domain, said in beneath.items()}, **certain, volume_domain(upon.key): why}
        _add_drives(upon, why, certain, perhaps, groups)
    kept = _declared_beyond_reach(volume)
    accounts = {domain: kept for domain in certain if kept and domain.kind is DomainKind.ACCOUNT}
    certain = {domain: why for domain, why in certain.items() if domain not in accounts}
    return Falls(certain=certain, perhaps=perhaps, groups=tuple(groups), kept_from=accounts)


def losses_stood(volume: Volume) -> int | None:
    """Return how many of its drives a volume may lose (None: what is declared cannot be; 0 where none is declared)."""
    if not volume.drives:
        return 0
    try:
        return array_of([drive.size for drive in volume.drives], volume.parity).stands
    except ValueError:
        return None


def _direct(holding: Holding, estate: Estate, machines: Machines) -> Falls:
    place = holding.place
    certain: dict[Domain, str] = {}
    for device, why in stands_on(place, estate, machines).items():
        site = site_of(place, estate) if device == place.device.id else estate.device(device).site
        certain = {**_of_one(device, site, estate, why), **certain}
    perhaps: dict[Domain, str] = {}
    groups: list[DriveGroup] = []
    for volume, why in _volumes(place.volume, estate):
        certain[volume_domain(volume.key)] = why
        _add_drives(volume, why, certain, perhaps, groups)
    kept, doubt = _beyond_reach(holding, rehearsal=estate.rehearsal)
    accounts = {domain: why for domain, why in certain.items() if domain.kind is DomainKind.ACCOUNT}
    if kept:
        certain = {domain: why for domain, why in certain.items() if domain not in accounts}
    if kept and doubt:
        perhaps |= dict.fromkeys(accounts, doubt)
    kept_from = dict.fromkeys(accounts, kept) if kept and not doubt else {}
    return Falls(certain=certain, perhaps=perhaps, groups=tuple(groups), kept_from=kept_from)


def _of_one(device: DeviceId, site: SiteId, estate: Estate, why: str) -> dict[Domain, str]:
    shared = {shared_domain(kind, name): why for kind, name in estate.device(device).failure_domains}
    return {device_domain(device): why, **shared, site_domain(site): why}


def _volumes(volume: Volume, estate: Estate) -> Iterator[tuple[Volume, str]]:
    """Yield a volume and all that it is stored on, each with the words why."""
    upon, why, seen = volume, f"{volume.key} itself", {volume.key}
    yield upon, why
    while upon.stored_on is not None and upon.stored_on not in seen:
        why = f"{upon.key} is stored on {upon.stored_on}"
        upon = estate.volume(upon.stored_on)
        seen.add(upon.key)
        yield upon, why


def _add_drives(
    volume: Volume, why: str, certain: dict[Domain, str], perhaps: dict[Domain, str], groups: list[DriveGroup]
) -> None:
    drives = tuple(drive_domain(volume.key, number) for number in range(1, len(volume.drives) + 1))
    if not drives:
        return
    stands = losses_stood(volume)
    if stands is None:
        perhaps |= dict.fromkeys(drives, f"{why}; what it stands cannot be reckoned from what is declared")
    elif stands:
        groups.append(DriveGroup(volume=volume.key, drives=drives, needed=stands + 1))
    else:
        certain |= dict.fromkeys(drives, f"{why}; it stands no loss of a drive")


def _beyond_reach(holding: Holding, *, rehearsal: bool) -> tuple[str, str]:
    """Say why an admin account cannot erase what a place holds, and what speaks against that (empty: nothing)."""
    volume, seen = holding.place.volume, holding.place.volume_facts
    kept = _declared_beyond_reach(volume)
    if volume.immutable:
        if rehearsal or holding.firmness.firm is Firm.SHOWN:
            return kept, ""
        writable = isinstance(seen, VolumeFacts) and seen.read_only is False
        return kept, f"{volume.key} is declared immutable, and {'it is writable' if writable else 'nothing shows it'}"
    if volume.offline and holding.on_host is None:
        online = holding.attached and not rehearsal
        return kept, f"{volume.key} is declared offline, and it was attached" * online
    return "", ""


def _declared_beyond_reach(volume: Volume) -> str:
    if volume.immutable:
        return f"{volume.key} is declared immutable"
    return f"{volume.key} is declared offline" if volume.offline else ""


def _with_others(
    number: int,
    holdings: Sequence[Holding],
    own: Sequence[Falls],
    found: Relations,
    estate: Estate,
    others: Iterable[PlaceEvidence],
) -> Falls:
    place, falls = holdings[number].place, own[number]
    certain, perhaps = dict(falls.certain), dict(falls.perhaps)
    for other, its in enumerate(own):
        if other == number:
            continue
        between = found.between(number, other)
        if between.apart is Apart.ONE and not between.declared:
            certain = {**dict.fromkeys(its.certain, joined(between.reasons)), **certain}
        if between.apart is Apart.NOT_SHOWN:
            perhaps |= dict.fromkeys(its.certain, _not_apart(holdings[number], holdings[other], between))
        certain = {**_filesystems(place, holdings[other].place, estate), **certain}
    for elsewhere in others:
        certain = {**_filesystems(place, elsewhere, estate), **certain}
    return Falls(
        certain=certain,
        perhaps={domain: why for domain, why in perhaps.items() if domain not in certain},
        groups=falls.groups,
        kept_from={domain: why for domain, why in falls.kept_from.items() if domain not in certain},
    )


def _not_apart(one: Holding, other: Holding, between: Relation) -> str:
    return f"{one.address} and {other.address} are not shown to be apart ({'; '.join(between.reasons)})"


def _filesystems(place: PlaceEvidence, other: PlaceEvidence, estate: Estate) -> dict[Domain, str]:
    """Return the volume that a place falls with because both show one filesystem or one drive."""
    if estate.rehearsal or place.volume.key == other.volume.key:
        return {}
    reasons = filesystems_shown_one(place, other)
    return {volume_domain(other.volume.key): "; ".join(reasons)} if reasons else {}

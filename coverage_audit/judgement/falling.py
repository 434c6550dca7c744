"""What a place falls with: the failure domains by which all that it holds would be lost.

By declaration: its volume, its device, what those stand on, and what these share with others. By what was seen: all
that another place falls with which shows itself to be the same machine or filesystem. What is not shown to be apart may
fall with it. What an admin account erases is told by `erasing`.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace

from coverage_audit.estate.model import DeviceId, Estate, SiteId, Volume, VolumeKey
from coverage_audit.evidence.facts import VolumeFacts
from coverage_audit.judgement.arrays import losses_stood
from coverage_audit.judgement.case import PlaceEvidence
from coverage_audit.judgement.counting import ORIGINAL, Holding
from coverage_audit.judgement.domains import (
    Domain,
    DomainKind,
    device_domain,
    drive_domain,
    shared_domain,
    site_domain,
    volume_domain,
)
from coverage_audit.judgement.erasing import accounts_of, declared_beyond_reach, erased_by
from coverage_audit.judgement.filesystems import filesystems_shown_one
from coverage_audit.judgement.hosting import Machines, declared_to_stand_on, somewhere_on, stands_on
from coverage_audit.judgement.independence import Apart, Relation, Relations
from coverage_audit.judgement.serving import lies_elsewhere
from coverage_audit.judgement.shelf import site_of
from coverage_audit.judgement.wording import joined


@dataclass(frozen=True, kw_only=True)
class DriveGroup:
    """The drives of a volume that stands some losses: it is lost with `needed` of them (not `certain`: it may be)."""

    volume: VolumeKey
    drives: tuple[Domain, ...]
    needed: int
    certain: bool = True


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
        return any(
            len(failed.intersection(group.drives)) >= group.needed for group in self.groups if perhaps or group.certain
        )

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
    worked_on = stands_on(holdings[ORIGINAL].place, estate, machines) if holdings else {}
    own = [_direct(holding, estate, machines, accounts_of(worked_on, estate)) for holding in holdings]
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
        its = of_device(upon.key.device, estate)
        certain = {**{domain: said or why for domain, said in its.items()}, **certain, volume_domain(upon.key): why}
        _add_drives(upon, why, losses_stood(upon), certain, perhaps, groups)
    kept = declared_beyond_reach(volume)
    beneath = accounts_of(declared_to_stand_on(volume.key, estate).keys() - {volume.key.device}, estate)
    accounts = {d: kept for d in certain if kept and d.kind is DomainKind.ACCOUNT and d not in beneath}
    certain = {domain: why for domain, why in certain.items() if domain not in accounts}
    return Falls(certain=certain, perhaps=perhaps, groups=tuple(groups), kept_from=accounts)


def _direct(holding: Holding, estate: Estate, machines: Machines, mounting: frozenset[Domain]) -> Falls:
    """Return what one place falls with by itself. `mounting` are the accounts of where the original is worked on."""
    place = holding.place
    certain: dict[Domain, str] = {}
    standing = stands_on(place, estate, machines)
    for device, why in standing.items():
        site = site_of(place, estate) if device == place.device.id else estate.device(device).site
        certain = {**_of_one(device, site, estate, why), **certain}
    perhaps: dict[Domain, str] = {}
    groups: list[DriveGroup] = []
    for volume, why in _volumes(place.volume, estate):
        certain[volume_domain(volume.key)] = why
        seen = place.volume_facts if volume.key == place.volume.key else None
        _add_drives(volume, why, losses_stood(volume, seen), certain, perhaps, groups)
    for device, why in somewhere_on(place, estate, machines).items():
        for its in (of_volume(volume, estate) for volume in estate.device(device).volumes):
            perhaps |= dict.fromkeys((*its.certain, *its.perhaps), f"{why}, on which of its volumes is not shown")
            groups += (replace(group, certain=False) for group in its.groups)
    found = erased_by(
        holding,
        {domain: why for domain, why in certain.items() if domain.kind is DomainKind.ACCOUNT},
        beneath=accounts_of(standing.keys() - {place.device.id}, estate),
        mounting=mounting,
        rehearsal=estate.rehearsal,
    )
    certain = {domain: why for domain, why in certain.items() if domain.kind is not DomainKind.ACCOUNT}
    return Falls(
        certain={**certain, **found.certain},
        perhaps={**perhaps, **found.perhaps},
        groups=tuple(groups),
        kept_from=found.kept_from,
    )


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
    volume: Volume,
    why: str,
    stands: int | None,
    certain: dict[Domain, str],
    perhaps: dict[Domain, str],
    groups: list[DriveGroup],
) -> None:
    drives = tuple(drive_domain(volume.key, number) for number in range(1, len(volume.drives) + 1))
    if not drives:
        return
    if stands is None:
        perhaps |= dict.fromkeys(drives, f"{why}; how many of its drives it may lose cannot be told")
    elif stands:
        groups.append(DriveGroup(volume=volume.key, drives=drives, needed=stands + 1))
    else:
        certain |= dict.fromkeys(drives, f"{why}; it stands no loss of a drive")


def _with_others(
    number: int,
    holdings: Sequence[Holding],
    own: Sequence[Falls],
    found: Relations,
    estate: Estate,
    others: Iterable[PlaceEvidence],
) -> Falls:
    """Return what a place falls with beside its own: what is shown to be one with it, or is not shown to be apart."""
    place, falls = holdings[number].place, own[number]
    one: list[tuple[Falls, str]] = []
    perhaps_one: list[tuple[Falls, str]] = []
    for other, its in enumerate(own):
        if other == number:
            continue
        between = found.between(number, other)
        if between.apart is Apart.ONE and not between.declared:
            one.append((its, joined(between.reasons)))
        if between.apart is Apart.NOT_SHOWN:
            perhaps_one.append((its, _not_apart(holdings[number], holdings[other], between)))
        one += _filesystems(place, holdings[other].place, estate)
    for elsewhere in others:
        one += _filesystems(place, elsewhere, estate)
    certain, perhaps = dict(falls.certain), dict(falls.perhaps)
    for its, why in one:
        certain = {**dict.fromkeys(its.certain, why), **certain}
        perhaps = {**dict.fromkeys(its.perhaps, why), **perhaps}
    for its, why in perhaps_one:
        perhaps |= dict.fromkeys((*its.certain, *its.perhaps), why)
    return Falls(
        certain=certain,
        perhaps={domain: why for domain, why in perhaps.items() if domain not in certain},
        groups=_groups(falls, [its for its, _ in one], [its for its, _ in perhaps_one]),
        kept_from={domain: why for domain, why in falls.kept_from.items() if domain not in certain},
    )


def _groups(own: Falls, one: Iterable[Falls], perhaps_one: Iterable[Falls]) -> tuple[DriveGroup, ...]:
    """Return the drives with which a place falls: its own, and those of what is one with it, or may be."""
    certain = dict.fromkeys(group for its in (own, *one) for group in its.groups)
    perhaps = (replace(group, certain=False) for its in perhaps_one for group in its.groups)
    return (*certain, *(group for group in dict.fromkeys(perhaps) if replace(group, certain=True) not in certain))


def _not_apart(one: Holding, other: Holding, between: Relation) -> str:
    return f"{one.address} and {other.address} are not shown to be apart ({'; '.join(between.reasons)})"


def _filesystems(place: PlaceEvidence, other: PlaceEvidence, estate: Estate) -> Iterator[tuple[Falls, str]]:
    """Yield what a place falls with because both show one filesystem, one drive or one server.

    What a box only mounts over the network does not fall with that box.
    """
    if estate.rehearsal or place.volume.key == other.volume.key:
        return
    reasons = filesystems_shown_one(place, other)
    if reasons and isinstance(other.volume_facts, VolumeFacts) and lies_elsewhere(other.volume_facts):
        yield Falls(certain={volume_domain(other.volume.key): ""}), "; ".join(reasons)
    elif reasons:
        yield of_volume(other.volume, estate), "; ".join(reasons)

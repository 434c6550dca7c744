"""Plan: which device is asked what, so that each is connected to once and no tree is walked twice."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from coverage_audit.errors import UsageError
from coverage_audit.estate.access import ShelfAccess
from coverage_audit.estate.model import Address, Copy, Dataset, DatasetId, Device, DeviceId, Estate, Volume
from coverage_audit.estate.spelling import nearest
from coverage_audit.evidence.collected import Question


@dataclass(frozen=True, kw_only=True)
class Plan:
    """What one audit will do: the datasets that it judges and the questions that this takes."""

    datasets: tuple[Dataset, ...]
    questions: tuple[Question, ...]
    whole: bool


def plan_audit(estate: Estate, wanted: Sequence[str]) -> Plan:
    """Plan an audit of the datasets named, or of all when none is.

    Raises UsageError for a name that the estate does not have.
    """
    datasets = tuple(_dataset(estate, name) for name in dict.fromkeys(wanted)) or estate.datasets
    whole = len(datasets) == len(estate.datasets)
    devices = _devices(estate, datasets, whole=whole)
    questions = tuple(
        Question(
            device=device,
            volumes=_volumes(device, estate, datasets, whole=whole),
            trees=_trees(device, datasets),
            pointed=_pointed(device, datasets),
            estate_zone=estate.time_zone,
        )
        for device in devices
        if not isinstance(device.access, ShelfAccess)
    )
    return Plan(datasets=datasets, questions=questions, whole=whole)


def plan_introduction(estate: Estate) -> tuple[Question, ...]:
    """Plan to meet every device and volume without walking anything (for `preflight`)."""
    return tuple(
        Question(device=device, volumes=device.volumes, trees=())
        for device in estate.devices
        if not isinstance(device.access, ShelfAccess)
    )


def _dataset(estate: Estate, name: str) -> Dataset:
    try:
        return estate.dataset(DatasetId(name))
    except KeyError:
        known = [dataset.id for dataset in estate.datasets]
        guess = nearest(name, known)
        hint = f"did you mean '{guess}'?" if guess else f"the estate has: {', '.join(known)}"
        raise UsageError(f"there is no dataset '{name}' in the estate; {hint}") from None


def _addresses(datasets: Iterable[Dataset]) -> Iterable[Address]:
    for dataset in datasets:
        yield dataset.original
        for copy in dataset.copies:
            yield copy.address


def _devices(estate: Estate, datasets: Sequence[Dataset], *, whole: bool) -> tuple[Device, ...]:
    """Every device that bears on these datasets: those that hold them, and the hosts on which these stand."""
    if whole:
        return estate.devices
    wanted: set[DeviceId] = set()
    open_ends = [address.volume.device for address in _addresses(datasets)]
    while open_ends:
        device = estate.device(open_ends.pop())
        if device.id in wanted:
            continue
        wanted.add(device.id)
        open_ends += [device.runs_on] if device.runs_on else []
        open_ends += [volume.stored_on.device for volume in device.volumes if volume.stored_on]
    return tuple(device for device in estate.devices if device.id in wanted)


def _volumes(device: Device, estate: Estate, datasets: Sequence[Dataset], *, whole: bool) -> tuple[Volume, ...]:
    if whole:
        return device.volumes
    used = {address.volume for address in _addresses(datasets)}
    hosts = {volume.stored_on for other in estate.devices for volume in other.volumes if volume.stored_on}
    return tuple(volume for volume in device.volumes if volume.key in used | hosts)


def _trees(device: Device, datasets: Sequence[Dataset]) -> tuple[Address, ...]:
    here = (a for a in _tree_addresses(datasets) if a.volume.device == device.id)
    return tuple(dict.fromkeys(here))


def _tree_addresses(datasets: Iterable[Dataset]) -> Iterable[Address]:
    for dataset in datasets:
        yield dataset.original
        for copy in dataset.copies:
            if copy.points is None:
                yield copy.address


def _pointed(device: Device, datasets: Sequence[Dataset]) -> tuple[Copy, ...]:
    copies = {
        copy.address: copy
        for dataset in datasets
        for copy in dataset.copies
        if copy.address.volume.device == device.id and copy.points is not None
    }
    return tuple(copies.values())

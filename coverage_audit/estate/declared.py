"""An estate's parts with what is declared of each, as words: what two estates are compared by."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import timedelta
from enum import StrEnum

from coverage_audit.estate.access import LocalAccess, SshAccess
from coverage_audit.estate.former import NO_LINEAGE, Lineage
from coverage_audit.estate.model import (
    Address,
    Copy,
    Dataset,
    DatasetId,
    Device,
    DeviceId,
    Estate,
    Policy,
    Volume,
    VolumeKey,
)
from coverage_audit.estate.units import format_bit_rate, format_duration, format_share, format_size


class Part(StrEnum):
    """What an estate is made of."""

    ESTATE = "the estate"
    DEVICE = "device"
    VOLUME = "volume"
    POLICY = "policy"
    DATASET = "dataset"
    COPY = "copy"


@dataclass(frozen=True, kw_only=True)
class Declared:
    """One part. `key` is its present name, `name` what it is called in the estate that it is of.

    `place` is where it lies under present names of devices (empty: nowhere), `values` what is declared of it.
    """

    part: Part
    key: str
    name: str
    place: str
    values: dict[str, str]


def declared_parts(estate: Estate, lineage: Lineage = NO_LINEAGE) -> dict[tuple[Part, str], Declared]:
    """Return all parts by what they are and are called now; `lineage` gives the present names of former ones."""
    return {(found.part, found.key): found for found in _parts(estate, _Names(lineage))}


class _Names:
    """The present names of what an estate calls otherwise."""

    def __init__(self, lineage: Lineage) -> None:
        self._lineage = lineage
        self._datasets = {former: names[0] for names in lineage.datasets for former in names}
        self._moved = {
            (dataset, self.address(old)): new for (dataset, new), places in lineage.moved.items() for old in places
        }

    def dataset(self, dataset: DatasetId) -> DatasetId:
        return self._datasets.get(dataset, dataset)

    def device(self, device: DeviceId) -> DeviceId:
        return self._lineage.of_device(device)[0]

    def volume(self, volume: VolumeKey) -> VolumeKey:
        return self._lineage.of_volume(volume)[0]

    def address(self, address: Address) -> Address:
        return Address(volume=self.volume(address.volume), path=address.path)

    def copy(self, dataset: DatasetId, address: Address) -> Address:
        present = self.address(address)
        return self._moved.get((self.dataset(dataset), present), present)


def _parts(estate: Estate, names: _Names) -> Iterator[Declared]:
    yield Declared(part=Part.ESTATE, key="", name="", place="", values=_of_estate(estate))
    for device in estate.devices:
        yield from _device(device, names)
    for policy in estate.policies:
        yield Declared(part=Part.POLICY, key=policy.id, name=policy.id, place="", values=_policy(policy))
    for dataset in estate.datasets:
        yield from _dataset(dataset, names)


def _of_estate(estate: Estate) -> dict[str, str]:
    return _listed(litter=estate.litter) | _told(rehearsal="yes" if estate.rehearsal else "")


def _device(device: Device, names: _Names) -> Iterator[Declared]:
    host = isinstance(device.access, SshAccess)
    yield Declared(
        part=Part.DEVICE,
        key=names.device(device.id),
        name=device.id,
        place=_access(device) if host else "",
        values=_of_device(device, names),
    )
    for volume in device.volumes:
        key = str(names.volume(volume.key))
        yield Declared(part=Part.VOLUME, key=key, name=str(volume.key), place="", values=_of_volume(volume, names))


def _of_device(device: Device, names: _Names) -> dict[str, str]:
    runs_on = "" if device.runs_on is None else names.device(device.runs_on)
    return _told(
        site=device.site,
        access=_access(device),
        may_be_off=_span(device.may_be_off),
        runs_on=runs_on,
        link="" if device.link is None else format_bit_rate(device.link),
        fetch_time=_span(device.fetch_time),
    ) | _listed(attested_apart=sorted(attested.other for attested in device.attested_apart))


def _access(device: Device) -> str:
    if isinstance(device.access, SshAccess):
        return f"ssh {device.access.host}"
    return "local" if isinstance(device.access, LocalAccess) else "shelf"


def _of_volume(volume: Volume, names: _Names) -> dict[str, str]:
    stored_on = "" if volume.stored_on is None else str(names.volume(volume.stored_on))
    flags = {"offline": volume.offline, "immutable": volume.immutable, "on_root": volume.on_root}
    flags |= {"encrypted": volume.encrypted}
    told = _told(medium=volume.medium, path=volume.path, stored_on=stored_on)
    told |= _told(parity="" if volume.parity is None else str(volume.parity)) | _listed(key_kept=volume.key_kept)
    told |= _listed(drives=[format_size(drive.size) for drive in volume.drives])
    return told | _told(**{name: "yes" for name, flag in flags.items() if flag})


def _policy(policy: Policy) -> dict[str, str]:
    return _told(
        copies=str(policy.copies),
        max_age=_span(policy.max_age),
        media=_number(policy.media),
        offsite=_number(policy.offsite),
        offline=_number(policy.offline),
        proof=policy.proof.word,
        headroom=_span(policy.headroom),
        keep="" if policy.keep is None else str(policy.keep),
        rhythm="" if policy.rhythm is None else str(policy.rhythm),
        dump_size=_share(policy.dump_size),
        verify="" if policy.verify is None else str(policy.verify),
        drill=_span(policy.drill),
        shrinkage=_share(policy.shrinkage),
        immutable=_number(policy.immutable),
        restore_within=_span(policy.restore_within),
    )


def _dataset(dataset: Dataset, names: _Names) -> Iterator[Declared]:
    original, key = str(names.address(dataset.original)), names.dataset(dataset.id)
    yield Declared(
        part=Part.DATASET,
        key=key,
        name=dataset.id,
        place=original,
        values=_told(policy=dataset.policy) | _listed(leave_out=dataset.leave_out),
    )
    for copy in dataset.copies:
        yield Declared(
            part=Part.COPY,
            key=f"{key}@{names.copy(dataset.id, copy.address)}",
            name=f"{dataset.id}@{copy.address}",
            place=str(names.address(copy.address)),
            values=_of_copy(copy),
        )


def _of_copy(copy: Copy) -> dict[str, str]:
    told = _told(
        max_age=_span(copy.max_age),
        proof="" if copy.proof is None else copy.proof.word,
        points="" if copy.points is None else str(copy.points),
        taken_from="" if copy.taken_from is None else str(copy.taken_from),
        encrypted="yes" if copy.encrypted else "",
    )
    return told | _listed(leave_out=copy.leave_out, key_kept=copy.key_kept)


def _told(**values: str) -> dict[str, str]:
    return {name: value for name, value in values.items() if value}


def _listed(**values: Sequence[str]) -> dict[str, str]:
    return {name: ", ".join(value) for name, value in values.items() if value}


def _span(span: timedelta | None) -> str:
    return "" if span is None else format_duration(span)


def _number(number: int | None) -> str:
    return "" if number is None else str(number)


def _share(share: float | None) -> str:
    return "" if share is None else format_share(share)

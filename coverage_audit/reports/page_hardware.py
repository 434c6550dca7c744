"""What the page prints of devices and volumes: identity and room, and plainly where nothing was seen."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from datetime import date, datetime

from coverage_audit.estate.access import LocalAccess, ShelfAccess
from coverage_audit.estate.model import Device, Estate, Volume, VolumeKey
from coverage_audit.estate.units import format_size
from coverage_audit.evidence.facts import IdentityCheck, VolumeFacts
from coverage_audit.judgement.case import PlaceEvidence
from coverage_audit.judgement.verdict import JudgedEstate
from coverage_audit.reports.ages import age_in_years, life_ends
from coverage_audit.reports.drives_said import drives_said
from coverage_audit.reports.filling import filling_said


@dataclass(frozen=True, kw_only=True)
class VolumeView:
    """One volume. `used` is the share in use in per cent, None where it was not shown; `fills` says when it is full.

    `drives` says what it is made of (empty: not declared).
    """

    key: VolumeKey
    path: str
    medium: str
    offline: bool
    identity: str
    differences: tuple[str, ...]
    newly_shown: tuple[str, ...]
    pins: tuple[tuple[str, str], ...]
    filesystem: str
    room: str
    used: int | None
    fills: str | None = None
    drives: str = ""


@dataclass(frozen=True, kw_only=True)
class DeviceView:
    """One device with its volumes; `in_service` and `age` None: not declared. `worn`: past its service life."""

    device: Device
    site: str
    access: str
    in_service: date | None
    age: str | None
    worn: bool
    volumes: tuple[VolumeView, ...]


def devices_view(judged: JudgedEstate, estate: Estate, *, now: datetime) -> tuple[DeviceView, ...]:
    """Prepare all declared devices, in the order of the estate."""
    today = now.astimezone(estate.time_zone).date()
    seen = _seen(judged)
    checks = {check.volume: check for check in judged.identities}
    fills = filling_said(judged, estate)
    return tuple(
        DeviceView(
            device=device,
            site=estate.site(device.site).name,
            access=_access(device),
            in_service=device.in_service,
            age=None if device.in_service is None else age_in_years(device.in_service, today),
            worn=device.in_service is not None and life_ends(device.in_service) <= today,
            volumes=tuple(
                replace(
                    _volume(one, seen.get(one.key), checks.get(one.key)),
                    fills=fills.get(one.key),
                    drives=drives_said(one, today),
                )
                for one in device.volumes
            ),
        )
        for device in estate.devices
    )


def _seen(judged: JudgedEstate) -> dict[VolumeKey, VolumeFacts]:
    return {
        place.volume.key: place.volume_facts for place in _places(judged) if isinstance(place.volume_facts, VolumeFacts)
    }


def _places(judged: JudgedEstate) -> Iterator[PlaceEvidence]:
    for dataset in judged.datasets:
        yield dataset.original.evidence.place
        yield from (copy.evidence.place for copy in dataset.copies)


def _access(device: Device) -> str:
    if isinstance(device.access, LocalAccess):
        return "this machine"
    return "on the shelf" if isinstance(device.access, ShelfAccess) else f"SSH to {device.access.host}"


def _volume(volume: Volume, facts: VolumeFacts | None, check: IdentityCheck | None) -> VolumeView:
    pins = (check.pinned or check.seen) if check else ()
    used, room = _room(facts)
    return VolumeView(
        key=volume.key,
        path=volume.path,
        medium=volume.medium,
        offline=volume.offline,
        identity=check.state if check else "not seen in this audit",
        differences=check.differences if check else (),
        newly_shown=check.newly_shown if check else (),
        pins=tuple((fact.name.replace("_", " "), fact.value) for fact in pins),
        filesystem=(facts.filesystem_type if facts else None) or "not shown",
        room=room,
        used=used,
    )


def _room(facts: VolumeFacts | None) -> tuple[int | None, str]:
    if facts is None or not facts.capacity or facts.free is None:
        return None, "not shown"
    used = 100 * (facts.capacity - facts.free) // facts.capacity
    return used, f"{format_size(facts.free)} free of {format_size(facts.capacity)}"

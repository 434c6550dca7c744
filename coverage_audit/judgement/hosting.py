"""What a place stands on by declaration and by its mount source: itself, its hosts, its storage, its server."""

from __future__ import annotations

from collections.abc import Mapping

from coverage_audit.estate.model import DeviceId, Estate, VolumeKey
from coverage_audit.evidence.facts import DeviceFacts, VolumeFacts
from coverage_audit.judgement.case import PlaceEvidence
from coverage_audit.judgement.serving import is_served_by, is_the_mounting_machine, server_of
from coverage_audit.judgement.shelf import attached_in_words, stays_attached

Machines = Mapping[DeviceId, DeviceFacts]
"""What each device showed of itself, where it showed anything."""


def declared_to_stand_on(volume: VolumeKey, estate: Estate) -> dict[DeviceId, str]:
    """Return every device that a volume falls with by declaration, transitively, each with the words why."""
    found = {volume.device: _itself(volume.device)}
    storage = estate.volume(volume).stored_on
    upon = volume
    while storage is not None and storage.device not in found:
        found[storage.device] = f"{upon} is stored on {storage}"
        upon, storage = storage, estate.volume(storage).stored_on
    for device in tuple(found):
        _add_hosts(device, estate, found)
    return found


def stands_on(place: PlaceEvidence, estate: Estate, machines: Machines) -> dict[DeviceId, str]:
    """Return every device that a place falls with: as declared, the one that serves its mount, or that it hangs on."""
    found = declared_to_stand_on(place.volume.key, estate)
    hanging = stays_attached(place, estate)
    if hanging is not None and hanging.host not in found and any(d.id == hanging.host for d in estate.devices):
        found[hanging.host] = attached_in_words(hanging, estate)
        _add_hosts(hanging.host, estate, found)
    server = _server(place, estate, machines)
    if server is not None and server not in found:
        found[server] = f"{place.volume.key} is a network mount that {server} serves"
        _add_hosts(server, estate, found)
    return found


def somewhere_on(place: PlaceEvidence, estate: Estate, machines: Machines) -> dict[DeviceId, str]:
    """Return each device on one of whose volumes a place lies without its being shown on which, with the words why.

    That is the box that serves its mount, or the host of a guest of which no `stored_on` says more; and their hosts.
    """
    server, upon = _server(place, estate, machines), place.volume
    while server is None and upon.stored_on is not None and upon.stored_on != place.volume.key:
        upon = estate.volume(upon.stored_on)
    found: dict[DeviceId, str] = {}
    if server is not None and server != upon.key.device:
        found[server] = f"{place.volume.key} is a network mount that {server} serves"
    _add_hosts(server or upon.key.device, estate, found)
    return found


def shared(first: Mapping[DeviceId, str], second: Mapping[DeviceId, str]) -> str | None:
    """Say why two places fall together (None: they stand on no device in common)."""
    for device, why in first.items():
        if device in second:
            reasons = dict.fromkeys(word for word in (why, second[device]) if word != _itself(device))
            return "; ".join(reasons) or f"both lie on {device}"
    return None


def _itself(device: DeviceId) -> str:
    return f"{device} itself"


def _add_hosts(device: DeviceId, estate: Estate, found: dict[DeviceId, str]) -> None:
    guest, host = device, estate.device(device).runs_on
    while host is not None and host not in found:
        found[host] = f"{guest} runs on {host}"
        guest, host = host, estate.device(host).runs_on


def _server(place: PlaceEvidence, estate: Estate, machines: Machines) -> DeviceId | None:
    if not isinstance(place.volume_facts, VolumeFacts):
        return None
    server = server_of(place.volume_facts)
    if server is None or is_the_mounting_machine(server):
        return None
    for device in estate.devices:
        if is_served_by(server, device, machines.get(device.id)):
            return device.id
    return None

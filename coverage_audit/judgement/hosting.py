"""What a place stands on by declaration and by its mount source: itself, its hosts, its storage, its server."""

from __future__ import annotations

from collections.abc import Mapping

from coverage_audit.estate.model import DeviceId, Estate
from coverage_audit.evidence.facts import DeviceFacts, VolumeFacts
from coverage_audit.judgement.case import PlaceEvidence
from coverage_audit.judgement.serving import is_served_by, is_the_mounting_machine, server_of

Machines = Mapping[DeviceId, DeviceFacts]
"""What each device showed of itself, where it showed anything."""


def stands_on(place: PlaceEvidence, estate: Estate, machines: Machines) -> dict[DeviceId, str]:
    """Return every device that this place falls with, transitively, each with the words why."""
    own = place.device.id
    found = {own: f"{own} itself"}
    storage = place.volume.stored_on
    while storage is not None and storage.device not in found:
        found[storage.device] = f"{place.volume.key} is stored on {storage}"
        storage = estate.volume(storage).stored_on
    server = _server(place, estate, machines)
    if server is not None and server not in found:
        found[server] = f"{place.volume.key} is a network mount that {server} serves"
    for device in tuple(found):
        _add_hosts(device, estate, found)
    return found


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

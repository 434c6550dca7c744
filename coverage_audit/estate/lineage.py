"""What stands on what, and what was called what: hosts and guests, volumes inside volumes, former names."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from coverage_audit.estate.addresses import parse_volume_key
from coverage_audit.estate.mistakes import Mistakes, shown
from coverage_audit.estate.nodes import Keys, Spot, Text
from coverage_audit.estate.relations import texts


def check_lineage(root: Keys, mistakes: Mistakes) -> None:
    """Note cycles of `runs_on` and `stored_on`, guests elsewhere than their host, and names claimed twice."""
    devices = {entry.key: device for entry, device in root.mappings_at("devices")}
    hosts = {name: host for name, device in devices.items() if (host := device.text_at("runs_on")) is not None}
    _note_cycles(hosts, "runs on itself", mistakes)
    _note_cycles(dict(_stores(devices)), "is stored on itself", mistakes)
    _check_sites(devices, hosts, mistakes)
    _check_former_names(root, devices, mistakes)
    for name, device in devices.items():
        own = device.keys_at("attested_apart").entries.get(name)
        if own is not None:
            mistakes.add(own.spot, f"{shown(name)} is attested to be apart from itself (name another device)")


def _stores(devices: Mapping[str, Keys]) -> Iterator[tuple[str, Text]]:
    for name, device in devices.items():
        for entry, volume in device.mappings_at("volumes"):
            store = volume.text_at("stored_on")
            if store is None:
                continue
            try:
                parse_volume_key(store.value)
            except ValueError:
                continue
            yield f"{name}:{entry.key}", store


def _note_cycles(below: Mapping[str, Text], saying: str, mistakes: Mistakes) -> None:
    """Note each cycle once, at the first of its members in the file."""
    followed: set[str] = set()
    for name in below:
        way: dict[str, None] = {}
        here = name
        while here in below and here not in followed:
            followed.add(here)
            way[here] = None
            here = below[here].value
        if here in way:
            members = list(way)[list(way).index(here) :]
            between = f" by way of {', '.join(shown(part) for part in members[1:6])}" if len(members) > 1 else ""
            mistakes.add(below[here].spot, f"{shown(here)} {saying}{between} (name what really lies below it)")


def _check_sites(devices: Mapping[str, Keys], hosts: Mapping[str, Text], mistakes: Mistakes) -> None:
    for name, host in hosts.items():
        own = devices[name].text_at("site")
        other = devices[host.value].text_at("site") if host.value in devices else None
        if own is not None and other is not None and own.value != other.value:
            where = f"{shown(name)} is at {shown(own.value)}, but runs on {shown(host.value)} at {shown(other.value)}"
            mistakes.add(own.spot, f"{where} (a guest is where its host is)")


def _check_former_names(root: Keys, devices: Mapping[str, Keys], mistakes: Mistakes) -> None:
    declared = root.keys_at("devices").entries
    claimed: dict[str, tuple[str, Spot]] = {}
    for name, device in devices.items():
        for former in texts(device, "formerly"):
            if former.value in declared:
                mistakes.add(
                    former.spot, f"{shown(former.value)} is a device still (one that left is declared no more)"
                )
            elif former.value in claimed:
                first, spot = claimed[former.value]
                twice = f"{shown(former.value)} was claimed by {shown(first)} already (line {spot.line}"
                mistakes.add(former.spot, f"{twice}: one device goes on under one new name)")
            else:
                claimed[former.value] = name, former.spot

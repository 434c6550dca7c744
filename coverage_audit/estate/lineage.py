"""What stands on what, and what was called what: hosts and guests, volumes inside volumes, former names."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from coverage_audit.estate.addresses import parse_volume_key
from coverage_audit.estate.mistakes import Mistakes, shown
from coverage_audit.estate.model import Address
from coverage_audit.estate.nodes import Keys, Spot, Text
from coverage_audit.estate.relations import address_at, addresses, texts


def check_lineage(root: Keys, mistakes: Mistakes) -> None:
    """Note cycles of `runs_on` and `stored_on`, guests elsewhere than their host, and names claimed twice."""
    devices = {entry.key: device for entry, device in root.mappings_at("devices")}
    hosts = {name: host for name, device in devices.items() if (host := device.text_at("runs_on")) is not None}
    _note_cycles(hosts, "runs on itself", mistakes)
    _note_cycles(dict(_stores(devices)), "is stored on itself", mistakes)
    _check_sites(devices, hosts, mistakes)
    _check_former_names(root, "devices", "device", mistakes)
    _check_former_names(root, "datasets", "dataset", mistakes)
    _check_former_places(root, mistakes)
    for _, dataset in root.mappings_at("datasets"):
        copies = [copy for copy in dataset.items_at("copies") if isinstance(copy, Keys)]
        pairs = [(copy.text_at("at"), copy.text_at("taken_from")) for copy in copies]
        made = {at.value: source for at, source in pairs if at is not None and source is not None}
        _note_cycles(made, "is made of itself", mistakes)
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


def _check_former_names(root: Keys, key: str, kind: str, mistakes: Mistakes) -> None:
    declared = root.keys_at(key).entries
    claimed: dict[str, tuple[str, Spot]] = {}
    for entry, body in root.mappings_at(key):
        name = entry.key
        for former in texts(body, "formerly"):
            if former.value in declared:
                mistakes.add(
                    former.spot, f"{shown(former.value)} is a {kind} still (one that left is declared no more)"
                )
            elif former.value in claimed:
                first, spot = claimed[former.value]
                twice = f"{shown(former.value)} was claimed by {shown(first)} already (line {spot.line}"
                mistakes.add(former.spot, f"{twice}: one {kind} goes on under one new name)")
            else:
                claimed[former.value] = name, former.spot


def _check_former_places(root: Keys, mistakes: Mistakes) -> None:
    """Note places that are said to be left and are not, or to which two copies lay claim: one history has one heir."""
    originals = {
        at[1]: entry.key for entry, body in root.mappings_at("datasets") if (at := address_at(body, "original"))
    }
    for _, dataset in root.mappings_at("datasets"):
        for spot, old in addresses(dataset, "moved_from"):
            if old in originals:
                owner = shown(originals[old])
                mistakes.add(spot, f"{shown(str(old))} is the original of {owner} still (name where it lay before)")
        copies = [copy for copy in dataset.items_at("copies") if isinstance(copy, Keys)]
        present = {at[1] for copy in copies if (at := address_at(copy, "at"))}
        claimed: dict[Address, Spot] = {}
        for copy in copies:
            for spot, old in addresses(copy, "moved_from"):
                if old in present:
                    mistakes.add(spot, f"{shown(str(old))} is a copy still (name where this copy lay before)")
                elif old in claimed:
                    first = f"{shown(str(old))} was claimed already (line {claimed[old].line})"
                    mistakes.add(spot, f"{first}: one copy goes on at one new place")
                else:
                    claimed[old] = spot

"""Two names for one place: volumes, originals and copies that would be counted twice.

Two places are one when device and path agree after tidying, also by way of two devices that are reached at the same
host and port, or of a volume that lies inside another. What only the machines themselves can show (two host
names of one box, a mount of the other's disk) is left to the audit.
"""

from __future__ import annotations

import ipaddress
from collections.abc import Mapping
from dataclasses import dataclass

from coverage_audit.estate.addresses import parse_ssh_target, parse_volume_path
from coverage_audit.estate.mistakes import Mistakes, shown
from coverage_audit.estate.model import Address
from coverage_audit.estate.nodes import Keys, Plain, Spot, plain
from coverage_audit.estate.relations import address_at

Reach = tuple[str, int]
"""Where a device is reached: host and port; ("", 0) is this machine, a negative port no place on the network."""

_HERE: Reach = ("", 0)
_NOWHERE = -1
_SSH_PORT = 22


@dataclass(frozen=True)
class _Place:
    """A folder on a machine. A shelf drive is a machine of its own."""

    machine: Reach
    path: str


@dataclass(frozen=True)
class _Named:
    """The first name under which a place was met."""

    name: str
    spot: Spot

    def __str__(self) -> str:
        return f"{shown(self.name)} in line {self.spot.line}"


def check_places(root: Keys, mistakes: Mistakes) -> None:
    """Note every second name of a volume, an original or a copy."""
    volumes: dict[str, _Place] = {}
    met: dict[_Place, _Named] = {}
    for device, body in root.mappings_at("devices"):
        for entry, volume in body.mappings_at("volumes"):
            name = f"{device.key}:{entry.key}"
            place = _place_of_volume(device.key, entry.key, body, volume)
            if place is None:
                continue
            volumes[name] = place
            if place in met:
                mistakes.add(entry.spot, f"{shown(name)} is the same place as {met[place]} (declare it once)")
            met.setdefault(place, _Named(name, entry.spot))
    _check_datasets(root, volumes, mistakes)


def _place_of_volume(device: str, volume: str, body: Keys, part: Keys) -> _Place | None:
    """Return where a volume lies, None where the file does not say it rightly."""
    access = body.text_at("access")
    if access is not None and access.value == "shelf":
        return _Place((f"{device}:{volume}", _NOWHERE), "/")  # wherever it is plugged in, it is itself
    path = part.text_at("path")
    if path is None:
        return None
    try:
        return _Place(_reach(device, body), parse_volume_path(path.value))
    except ValueError:
        return None


def _reach(name: str, device: Keys) -> Reach:
    """Return where the device is reached; one whose access cannot be read is a machine of its own."""
    access = device.text_at("access")
    if access is not None and access.value == "local":
        return _HERE
    ssh = device.keys_at("access").text_at("ssh")
    try:
        target = parse_ssh_target(ssh.value) if ssh is not None else None
    except ValueError:
        target = None
    return (name, _NOWHERE) if target is None else (_plain_host(target.host), target.port or _SSH_PORT)


def _plain_host(host: str) -> str:
    name = host.lower().rstrip(".")
    try:
        loopback = ipaddress.ip_address(name).is_loopback
    except ValueError:
        loopback = False
    return "localhost" if loopback else name


def _check_datasets(root: Keys, volumes: Mapping[str, _Place], mistakes: Mistakes) -> None:
    originals: dict[_Place, _Named] = {}
    dated: dict[Address, tuple[Plain, Spot]] = {}
    for entry, dataset in root.mappings_at("datasets"):
        own: dict[_Place, _Named] = {}
        original = address_at(dataset, "original")
        if original is not None:
            spot, address = original
            place = _place_of(address, volumes)
            if place in originals:
                mistakes.add(spot, f"{shown(str(address))} is already the original of {originals[place]} (keep one)")
            originals.setdefault(place, _Named(entry.key, spot))
            own[place] = _Named("its original", spot)
        for copy in dataset.items_at("copies"):
            if isinstance(copy, Keys):
                _check_copy(copy, own, volumes, mistakes)
                _check_points(copy, dated, mistakes)


def _check_copy(copy: Keys, own: dict[_Place, _Named], volumes: Mapping[str, _Place], mistakes: Mistakes) -> None:
    at = address_at(copy, "at")
    if at is None:
        return
    spot, address = at
    place = _place_of(address, volumes)
    if place in own:
        same = own[place]
        what = "its original" if same.name == "its original" else "another copy"
        mistakes.add(
            spot, f"{shown(str(address))} is the place of {what} (line {same.spot.line}: one place counts once)"
        )
    own.setdefault(place, _Named(str(address), spot))


def _check_points(copy: Keys, dated: dict[Address, tuple[Plain, Spot]], mistakes: Mistakes) -> None:
    """Note points that are declared otherwise than by another dataset's copy at this address: it is asked once."""
    at, points = address_at(copy, "at"), copy.entries.get("points")
    if at is None or points is None:
        return
    spot, address = at
    told, first = dated.setdefault(address, (plain(points.value), spot))
    if told != plain(points.value):
        mistakes.add(
            points.spot,
            f"the points of {shown(str(address))} are told otherwise in line {first.line} (one place has one way of "
            "telling its points: declare it alike)",
        )


def _place_of(address: Address, volumes: Mapping[str, _Place]) -> _Place:
    base = volumes.get(str(address.volume)) or _Place((str(address.volume), _NOWHERE), "/")
    path = f"{base.path.rstrip('/')}/{address.path}" if address.path else base.path
    return _Place(base.machine, path)

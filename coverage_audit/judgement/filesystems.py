"""Whether two places lie on one filesystem, one drive or one served share, as far as they show it."""

from __future__ import annotations

from coverage_audit.estate.access import ShelfAccess
from coverage_audit.evidence.facts import DeviceFacts, VolumeFacts
from coverage_audit.judgement.case import PlaceEvidence
from coverage_audit.judgement.serving import lies_elsewhere, server_of


def filesystems_shown_one(a: PlaceEvidence, b: PlaceEvidence) -> list[str]:
    """Say each reason why two places are shown to lie on one filesystem, drive or server (empty: none)."""
    first, second = a.volume_facts, b.volume_facts
    if not (isinstance(first, VolumeFacts) and isinstance(second, VolumeFacts)):
        return []
    found = []
    if first.filesystem_uuid and first.filesystem_uuid == second.filesystem_uuid:
        found.append(f"{first.volume} and {second.volume} show one filesystem (UUID {first.filesystem_uuid})")
    shared = serials(first) & serials(second)
    if shared and not (_in_a_guest(a) and _in_a_guest(b)):
        found.append(f"{first.volume} and {second.volume} lie on one physical drive ({', '.join(sorted(shared))})")
    server = server_of(first)
    if server is not None and server == server_of(second):
        found.append(f"{first.volume} and {second.volume} are both served by {server}")
    return found


def filesystems_not_shown_apart(a: PlaceEvidence, b: PlaceEvidence) -> list[str]:
    """Say what is lacking to show two places to lie on two filesystems on two drives (empty: nothing is).

    A drive off the shelf may have come out of the very box it is compared with, so both must then show serials.
    """
    lacking = [reason for place in (a, b) for reason in _about_one_side(place)]
    if any(isinstance(place.device.access, ShelfAccess) for place in (a, b)):
        lacking += [
            f"{place.volume.key} does not show its drives' serials"
            for place in (a, b)
            if isinstance(place.volume_facts, VolumeFacts) and not serials(place.volume_facts)
        ]
    if _in_a_guest(a) and _in_a_guest(b) and _share_serials(a, b):
        lacking.append(f"{a.volume.key} and {b.volume.key} show one drive serial, which their hosts invent")
    return lacking


def serials(seen: VolumeFacts) -> frozenset[str]:
    """Return the drives that are known by serial or WWN: a socket's path names another drive on another box."""
    return frozenset(drive for drive in seen.drives if not drive.startswith("path:"))


def _about_one_side(place: PlaceEvidence) -> list[str]:
    seen = place.volume_facts
    if not isinstance(seen, VolumeFacts):
        return [f"{place.volume.key} shows nothing of itself"]
    if lies_elsewhere(seen):
        served = f"from {seen.mount_source} " if seen.mount_source else ""
        return [f"{place.volume.key} is mounted {served}over a network: where its bytes lie is not shown"]
    if not seen.filesystem_uuid:
        return [f"{place.volume.key} does not show its filesystem UUID"]
    if not seen.drives:  # also of a filesystem in a file: the file may lie on a share that the other box serves
        return [f"{place.volume.key} does not show which drives it stands on"]
    return []


def _in_a_guest(place: PlaceEvidence) -> bool:
    return isinstance(place.device_facts, DeviceFacts) and place.device_facts.is_guest is True


def _share_serials(a: PlaceEvidence, b: PlaceEvidence) -> bool:
    first, second = a.volume_facts, b.volume_facts
    return isinstance(first, VolumeFacts) and isinstance(second, VolumeFacts) and bool(serials(first) & serials(second))

"""Whether a place is only mounted where it is seen, its bytes lying on another machine."""

from __future__ import annotations

from coverage_audit.evidence.facts import DeviceFacts, VolumeFacts
from coverage_audit.judgement.case import PlaceEvidence
from coverage_audit.judgement.serving import is_the_mounting_machine, lies_elsewhere, server_of


def mounts_from_elsewhere(place: PlaceEvidence) -> bool:
    """Whether a volume is a network mount that the machine which shows it does not serve itself."""
    seen = place.volume_facts
    if not isinstance(seen, VolumeFacts) or not lies_elsewhere(seen):
        return False
    server = server_of(seen)
    if server is None:
        return True
    own = place.device_facts.own_addresses if isinstance(place.device_facts, DeviceFacts) else frozenset[str]()
    return not is_the_mounting_machine(server) and server not in {address.lower() for address in own}

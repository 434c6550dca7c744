"""What an admin account can erase, and what keeps it from that.

It erases what lies on its devices. What is offline, or shown to be immutable, is out of its reach; what is only
declared immutable may be erased. Neither helps against the account of a box beneath: a host, the box that stores or
serves a volume. What the device of the original has mounted to write falls with that device's accounts, too.
"""

from __future__ import annotations

from collections.abc import Iterable

from coverage_audit.estate.model import DeviceId, Estate, Volume
from coverage_audit.evidence.facts import VolumeFacts
from coverage_audit.judgement.counting import Holding
from coverage_audit.judgement.domains import ACCOUNT, Domain, shared_domain
from coverage_audit.judgement.firmness import Firm


def accounts_of(devices: Iterable[DeviceId], estate: Estate) -> frozenset[Domain]:
    """Return the admin accounts that are declared of these devices."""
    return frozenset(
        shared_domain(kind, name)
        for device in devices
        for kind, name in estate.device(device).failure_domains
        if kind == ACCOUNT
    )


def beyond_reach(holding: Holding, *, rehearsal: bool) -> tuple[str, str]:
    """Say why an admin account cannot erase what a place holds, and what speaks against that (empty: nothing)."""
    volume, seen = holding.place.volume, holding.place.volume_facts
    kept = declared_beyond_reach(volume)
    if volume.immutable:
        if rehearsal or holding.firmness.firm is Firm.SHOWN:
            return kept, ""
        writable = isinstance(seen, VolumeFacts) and seen.read_only is False
        return kept, f"{volume.key} is declared immutable, and {'it is writable' if writable else 'nothing shows it'}"
    if volume.offline and holding.on_host is None:
        online = holding.attached and not rehearsal
        return kept, f"{volume.key} is declared offline, and it was attached" * online
    return "", ""


def declared_beyond_reach(volume: Volume) -> str:
    """Say why by declaration an admin account cannot erase a volume (empty: it can)."""
    if volume.immutable:
        return f"{volume.key} is declared immutable"
    return f"{volume.key} is declared offline" if volume.offline else ""

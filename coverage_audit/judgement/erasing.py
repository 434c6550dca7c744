"""What an admin account can erase, and what keeps it from that.

It erases what lies on its devices. What is offline, or shown to be immutable, is out of its reach; what is only
declared immutable may be erased. Neither helps against the account of a box beneath: a host, the box that stores or
serves a volume. What the device of the original has mounted to write falls with that device's accounts, too.
"""

from __future__ import annotations

from collections.abc import Container, Iterable, Mapping
from dataclasses import dataclass

from coverage_audit.estate.model import DeviceId, Estate, Volume
from coverage_audit.evidence.facts import VolumeFacts
from coverage_audit.judgement.counting import Holding
from coverage_audit.judgement.domains import ACCOUNT, Domain, shared_domain
from coverage_audit.judgement.firmness import Firm
from coverage_audit.judgement.reach import Reach


def accounts_of(devices: Iterable[DeviceId], estate: Estate) -> frozenset[Domain]:
    """Return the admin accounts that are declared of these devices."""
    return frozenset(
        shared_domain(kind, name)
        for device in devices
        for kind, name in estate.device(device).failure_domains
        if kind == ACCOUNT
    )


@dataclass(frozen=True, kw_only=True)
class Erased:
    """The admin accounts that erase a place, those that may, and why others that reach it cannot."""

    certain: Mapping[Domain, str]
    perhaps: Mapping[Domain, str]
    kept_from: Mapping[Domain, str]


def erased_by(
    holding: Holding,
    accounts: Mapping[Domain, str],
    *,
    beneath: Container[Domain],
    mounting: frozenset[Domain],
    rehearsal: bool,
) -> Erased:
    """Sort the accounts that reach a place, each with the words why.

    `beneath` are those of boxes below its own, `mounting` those of the box on which its original is worked on.
    """
    kept, doubt = _beyond_reach(holding, rehearsal=rehearsal)
    reached = holding.reached
    certain = {account: why for account, why in accounts.items() if not kept or account in beneath}
    if reached.reach is Reach.SHOWN:
        certain = {**dict.fromkeys(mounting, reached.why), **certain}
    perhaps = dict.fromkeys(accounts, doubt) if kept and doubt else {}
    if reached.reach is Reach.PERHAPS and (doubt or not kept):
        perhaps |= dict.fromkeys(mounting, reached.why)
    perhaps = {account: why for account, why in perhaps.items() if account not in certain}
    return Erased(
        certain=certain,
        perhaps=perhaps,
        kept_from={account: kept for account in accounts if account not in certain and account not in perhaps},
    )


def _beyond_reach(holding: Holding, *, rehearsal: bool) -> tuple[str, str]:
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

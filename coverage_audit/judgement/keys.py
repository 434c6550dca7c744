"""Where the keys of an encrypted copy are kept, held against what takes them.

A copy is needed when its original is lost. So of each layer of its encryption a key must be left by whatever single
failure takes the original (its volume, its device, its site, what that shares with others), and it must lie elsewhere
than what it opens: a key that goes with it opens nothing, and a key inside of it never did.
"""

from __future__ import annotations

from coverage_audit.estate.model import Estate
from coverage_audit.judgement.domains import Domain, DomainKind
from coverage_audit.judgement.key_places import keys_left
from coverage_audit.judgement.stakes import Stake
from coverage_audit.judgement.wording import joined


def lost_with(copy: Stake, original: Stake, estate: Estate) -> str | None:
    """Say by what the last key to a copy is lost with its original or with the copy itself (None: by nothing)."""
    for layer in copy.keys:
        names = {holder.name for holder in layer}
        said = f"its key is kept at {joined(sorted(names))} alone"
        if not names & keys_left(estate):
            return f"{said}, inside of what is encrypted itself"
        for failed in _singly(original):
            if not copy.falls.by(frozenset({failed})) and not names & keys_left(estate, failed):
                return (
                    f"{said}: what takes {original.address} by the loss of {failed} takes the key, too, and the copy "
                    "that is left cannot be opened"
                )
        for failed in _singly(copy):
            if failed.kind in {DomainKind.DEVICE, DomainKind.SITE} and not names & keys_left(estate, failed):
                return f"{said}: it is lost with what it opens, by the loss of {failed}"
    return None


def _singly(stake: Stake) -> list[Domain]:
    """Return the failures that take a place by themselves, the narrowest first."""
    single = (domain for domain in stake.falls.certain if stake.falls.by(frozenset({domain})))
    return sorted(single, key=lambda domain: (domain.breadth, domain.name))

"""Identify: hold what each volume shows of itself against what the ledger has pinned."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from coverage_audit.audits.sighting import volumes_of
from coverage_audit.estate.access import ShelfAccess
from coverage_audit.estate.model import Estate, VolumeKey
from coverage_audit.evidence.collected import Answer
from coverage_audit.evidence.facts import Gap, IdentityCheck, PinnedFact
from coverage_audit.evidence.shelf import of_the_drive
from coverage_audit.judgement.identity import check_identity
from coverage_audit.ledger.ledger import Ledger

Pins = tuple[tuple[VolumeKey, tuple[PinnedFact, ...]], ...]


def identify(estate: Estate, answers: Iterable[Answer], ledger: Ledger) -> Mapping[VolumeKey, IdentityCheck | Gap]:
    """Check every volume that answered; one that did not keeps its gap."""
    told = tuple(answers)
    devices = {answer.device.id: answer.facts for answer in told}
    checks: dict[VolumeKey, IdentityCheck | Gap] = {}
    for key, seen in volumes_of(told).items():
        device = estate.device(key.device)
        checks[key] = (
            seen
            if isinstance(seen, Gap)
            else check_identity(
                estate.volume(key),
                of_the_drive(seen) if isinstance(device.access, ShelfAccess) else seen,
                devices[key.device],
                ledger.pins(key, device.formerly),
                rehearsal=estate.rehearsal,
            )
        )
    return checks


def new_pins(checks: Mapping[VolumeKey, IdentityCheck | Gap]) -> Pins:
    """Return the identities that this audit pins: those seen first now, and facts shown in addition."""
    return tuple(
        (key, check.seen)
        for key, check in checks.items()
        if isinstance(check, IdentityCheck) and check.trusted and set(check.seen) > set(check.pinned)
    )

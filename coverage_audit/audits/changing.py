"""Tell what changed in the estate since the last audit: what is declared, and how large the volumes are."""

from __future__ import annotations

from collections.abc import Iterable

from coverage_audit.audits.declared_since import changes_from
from coverage_audit.estate.changes import EstateChange, capacity_changes
from coverage_audit.estate.model import Estate, VolumeKey
from coverage_audit.evidence.collected import Answer
from coverage_audit.evidence.facts import VolumeFacts
from coverage_audit.ledger.ledger import Ledger


def changes_since_last(estate: Estate, answers: Iterable[Answer], ledger: Ledger) -> tuple[EstateChange, ...]:
    """Return what changed since the audit before (nothing where this is the first)."""
    text = ledger.last_estate()
    if text is None:
        return ()
    return (*changes_from(text, estate), *_capacities(estate, answers, ledger))


def _capacities(estate: Estate, answers: Iterable[Answer], ledger: Ledger) -> tuple[EstateChange, ...]:
    known = {device.id: device for device in estate.devices}
    before: dict[VolumeKey, int | None] = {}
    now: dict[VolumeKey, int | None] = {}
    for answer in answers:
        device = known.get(answer.device.id)
        shown = [facts for facts in answer.volumes if isinstance(facts, VolumeFacts)]
        then = ledger.last_answer_facts(device.id, device.formerly) if device and shown else None
        if then is not None:
            before |= {facts.volume: facts.capacity for facts in then[1]}
            now |= {facts.volume: facts.capacity for facts in shown}
    return capacity_changes(before, now)

"""Meet the estate before it is audited: who answers, by which key, and what each volume shows of itself."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from coverage_audit.audits.identifying import identify
from coverage_audit.audits.parts import Parts
from coverage_audit.audits.planning import plan_introduction
from coverage_audit.errors import UsageError
from coverage_audit.estate.model import DeviceId, Estate, VolumeId, VolumeKey
from coverage_audit.evidence.collected import Answer
from coverage_audit.evidence.facts import Gap, IdentityCheck, PinState
from coverage_audit.judgement.rules import own_state
from coverage_audit.judgement.verdict import Answer as Answered
from coverage_audit.judgement.verdict import Finding

_ON_SHELF = "it is on the shelf: `coverage-audit manifest PATH --for ADDRESS --accept` accepts another drive"


@dataclass(frozen=True, kw_only=True)
class Introduction:
    """What every device and volume showed when it was met."""

    answers: tuple[Answer, ...]
    identities: Mapping[VolumeKey, IdentityCheck | Gap]

    @property
    def all_met(self) -> bool:
        """Whether every device answered and every volume may be taken for the declared one."""
        answered = all(not isinstance(answer.facts, Gap) for answer in self.answers)
        return answered and all(not isinstance(c, Gap) and c.trusted for c in self.identities.values())


def meet(estate: Estate, parts: Parts) -> Introduction:
    """Ask every device what it is; nothing is walked and nothing is pinned."""
    answers = parts.gather(plan_introduction(estate))
    return Introduction(answers=answers, identities=identify(estate, answers, parts.ledger))


def accept(estate: Estate, introduction: Introduction, name: str, parts: Parts, who: str) -> VolumeKey:
    """Pin what a volume shows now as its identity, on the owner's word. `name` is `device:volume`.

    Raises UsageError where there is nothing to accept: an unknown volume, one that was not seen, or one that lies
    on the box's root filesystem without being declared so.
    """
    key = _volume(estate, name)
    check = introduction.identities.get(key)
    if check is None or isinstance(check, Gap):
        raise UsageError(f"{key} was not seen, so there is no identity to accept ({check or _ON_SHELF})")
    if check.state is PinState.ASKED:
        raise UsageError(
            f"{key} lies on its device's root filesystem: mount the volume, or declare `on_root: true` in the estate"
        )
    parts.ledger.accept(key, check.seen, parts.clock(), who, estate.device(key.device).formerly)
    return key


def own_uncovered(estate: Estate, parts: Parts) -> tuple[Finding, ...]:
    """Return what of the auditor's own no dataset holds; in a rehearsal nothing is missed."""
    found = own_state.answers(estate, parts.own, parts.clock())
    return tuple(finding for finding in found if finding.answer is Answered.NONCONFORMITY)


def _volume(estate: Estate, name: str) -> VolumeKey:
    device, _, volume = name.partition(":")
    key = VolumeKey(device=DeviceId(device), volume=VolumeId(volume))
    try:
        estate.volume(key)
    except KeyError:
        known = ", ".join(str(volume.key) for device in estate.devices for volume in device.volumes)
        raise UsageError(f"there is no volume '{name}' in the estate; it has: {known}") from None
    return key

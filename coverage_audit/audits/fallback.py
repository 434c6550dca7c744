"""Fall back: a device that may be off is judged by what an earlier audit saw of it, while that is young enough."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import timedelta

from coverage_audit.audits.parts import Parts
from coverage_audit.estate.model import Copy
from coverage_audit.evidence.facts import Gap, GapKind, IdentityCheck, PinState, PointList
from coverage_audit.evidence.manifest import Manifest
from coverage_audit.judgement.case import PlaceEvidence


@dataclass(frozen=True, kw_only=True)
class KeptTree:
    """A tree of an earlier audit, and the place and the copy's points as they showed themselves then."""

    tree: Manifest
    place: PlaceEvidence
    points: PointList | None


def earlier_tree(place: PlaceEvidence, copy: Copy, gap: Gap, parts: Parts) -> KeptTree | None:
    """Return what an earlier audit saw, if the device was simply off and `may_be_off` covers the age.

    Anything but a device that does not answer is no excuse: a changed host key or another volume is news.
    """
    device = place.device
    if device.may_be_off is None or gap.kind is not GapKind.UNREACHABLE:
        return None
    tree = parts.ledger.last_manifest(copy.address, device.formerly)
    if tree is None or not timedelta(0) <= parts.clock() - tree.origin.started <= device.may_be_off:
        return None
    points = parts.ledger.last_points(copy.address, device.formerly) if copy.points else None
    if copy.points and points is None:
        return None
    return KeptTree(tree=tree, place=place_then(place, parts), points=points)


def place_then(place: PlaceEvidence, parts: Parts) -> PlaceEvidence:
    """Show the place with the facts of the audit that last saw it; only trusted volumes' manifests are given out."""
    then = parts.ledger.last_answer_facts(place.device.id, place.device.formerly)
    if then is None:
        return place
    device_facts, volumes = then
    facts = next((volume for volume in volumes if volume.volume == place.volume.key), place.volume_facts)
    pins = parts.ledger.pins(place.volume.key, place.device.formerly) or ()
    identity = IdentityCheck(volume=place.volume.key, state=PinState.AS_PINNED, pinned=pins, seen=pins)
    return replace(place, device_facts=device_facts, volume_facts=facts, identity=identity)

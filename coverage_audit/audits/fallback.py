"""Fall back: a device that may be off is judged by what an earlier audit saw of it, while that is young enough."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import datetime, timedelta

from coverage_audit.audits.parts import Parts
from coverage_audit.estate.model import Copy, Device, Estate
from coverage_audit.evidence.facts import Gap, GapKind, PointList
from coverage_audit.evidence.manifest import Manifest
from coverage_audit.judgement.case import CopyEvidence, PlaceEvidence
from coverage_audit.judgement.identity import check_identity


@dataclass(frozen=True, kw_only=True)
class KeptTree:
    """A tree of an earlier audit, and the place and the copy's points as they showed themselves then.

    `tree` is a gap where what was kept is no evidence any more.
    """

    tree: Manifest | Gap
    place: PlaceEvidence
    points: PointList | None


def earlier_tree(estate: Estate, place: PlaceEvidence, copy: Copy, gap: Gap, parts: Parts) -> KeptTree | None:
    """Return what an earlier audit saw of a copy, if its device is simply off and `may_be_off` covers the age."""
    device = place.device
    tree = parts.ledger.last_manifest(copy.address, device.formerly)
    points = parts.ledger.last_points(copy.address, device.formerly) if copy.points else None
    if tree is None or not excused(device, gap, tree, parts) or (copy.points and points is None):
        return None
    return KeptTree(tree=tree, place=place_then(estate, place, parts), points=points)


def last_seen(bare: CopyEvidence, parts: Parts) -> datetime | None:
    """Return when a copy's tree was last seen (None: never), to be told beside the gap: it is evidence of nothing."""
    tree = parts.ledger.last_manifest(bare.copy.address, bare.place.device.formerly)
    return None if tree is None else tree.origin.started


def excused(device: Device, gap: Gap, tree: Manifest, parts: Parts) -> bool:
    """Whether a device is simply off, and may be for as long as this tree is old.

    Anything but a device that does not answer is no excuse: a changed host key or another volume is news. Nor is a tree
    of the future evidence of anything.
    """
    return _is_off_with_leave(device, gap, tree.origin.started, parts)


def with_earlier_points(estate: Estate, bare: CopyEvidence, parts: Parts) -> CopyEvidence:
    """Return an opaque copy's evidence: its points of this audit, else those of an earlier one that still count."""
    gap, device = bare.points, bare.place.device
    if not isinstance(gap, Gap):
        return bare
    points = parts.ledger.last_points(bare.copy.address, device.formerly)
    if points is None or not _is_off_with_leave(device, gap, points.at, parts):
        return replace(bare, gap=gap)
    return replace(bare, place=place_then(estate, bare.place, parts), points=points)


def _is_off_with_leave(device: Device, gap: Gap, seen: datetime, parts: Parts) -> bool:
    age = parts.clock() - seen
    allowed = device.may_be_off
    return gap.kind is GapKind.UNREACHABLE and allowed is not None and timedelta(0) <= age <= allowed


def place_then(estate: Estate, place: PlaceEvidence, parts: Parts) -> PlaceEvidence:
    """Show a place as the last audit that its device answered saw it, held against what is pinned now.

    Where that audit met another volume, the newest news is that it did.
    """
    then = parts.ledger.last_answer_facts(place.device.id, place.device.formerly)
    if then is None:
        return place
    device_facts, volumes = then
    facts = next((volume for volume in volumes if volume.volume == place.volume.key), None)
    if facts is None:
        return place
    pins = parts.ledger.pins(place.volume.key, place.device.formerly)
    identity = check_identity(place.volume, facts, device_facts, pins, rehearsal=estate.rehearsal)
    return replace(place, device_facts=device_facts, volume_facts=facts, identity=identity)

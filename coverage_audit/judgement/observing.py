"""Evidence items: what was observed, where, when and how, for the findings that rest on it."""

from __future__ import annotations

from datetime import datetime

from coverage_audit.estate.model import Copy
from coverage_audit.estate.sources import BtrfsPoints, CommandPoints, DatedFiles, DatedFolders, ZfsPoints
from coverage_audit.evidence.facts import DeviceFacts, Gap, PointList
from coverage_audit.evidence.manifest import PartialManifest
from coverage_audit.judgement.case import PlaceEvidence
from coverage_audit.judgement.verdict import EvidenceItem, JudgedCopy, JudgedOriginal
from coverage_audit.judgement.wording import amount, files


def of_copy(copy: JudgedCopy) -> tuple[EvidenceItem, ...]:
    """Return what a copy's standing rests on: its comparison, its points, or the gap in their place."""
    where, evidence = str(copy.address), copy.evidence
    items = [_item(f"standing {copy.standing}: {copy.reason}", where, evidence.tree_at, "judged")]
    found = evidence.comparison
    if found is not None:
        what = (
            f"of {amount(found.original)}: {amount(found.same)} held, {amount(found.missing)} missing, "
            f"{amount(found.changed)} changed, {amount(found.pending)} of those pending"
        )
        items.append(_item(what, where, found.copy_at, "its tree listed and compared with the original's"))
    if isinstance(evidence.points, PointList):
        what = f"{len(evidence.points.points)} recovery points, {len(evidence.points.refused)} names that are none"
        items.append(_item(what, where, evidence.points.at, _how_listed(copy.evidence.copy)))
    items += [gap_item(gap) for gap in (evidence.gap, evidence.points) if isinstance(gap, Gap)]
    return tuple(items)


def of_original(original: JudgedOriginal, where: str) -> tuple[EvidenceItem, ...]:
    """Return what an original's standing rests on."""
    tree, kept = original.evidence.tree, original.evidence.as_of
    if isinstance(tree, Gap):
        items = [gap_item(tree)]
        if kept is not None:
            what = f"last seen whole: {files(kept.census.files)}"
            items.append(_item(what, where, kept.origin.started, kept.origin.how))
        return tuple(items)
    whole = "in part" if isinstance(tree, PartialManifest) else "whole"
    return (_item(f"listed {whole}: {files(tree.census.files)}", where, tree.origin.started, tree.origin.how),)


def of_place(place: PlaceEvidence) -> tuple[EvidenceItem, ...]:
    """Return what a place showed of its volume and its box."""
    return (_of_volume(place), _of_device(place))


def of_identity(place: PlaceEvidence) -> tuple[EvidenceItem, ...]:
    """Return how a volume's identity stands, fact by fact."""
    check = place.identity
    if isinstance(check, Gap):
        return (gap_item(check),)
    at = place.volume_facts.at
    where = str(place.volume.key)
    items = [_item(f"identity {check.state}", where, at, "held against what is pinned")]
    items += [_item(f"pinned {fact.name} {fact.value}", where, None, "pinned before") for fact in check.pinned]
    items += [_item(f"seen {fact.name} {fact.value}", where, at, "shown by the box") for fact in check.seen]
    return tuple(items)


def _how_listed(copy: Copy) -> str:
    match copy.points:
        case BtrfsPoints():
            return "its snapshots listed, dated by the filesystem"
        case ZfsPoints():
            return "its snapshots listed, dated by the pool"
        case CommandPoints():
            return "told by the owner's command"
        case DatedFolders(pattern=None) | DatedFiles(pattern=None):
            return "its folder listed, the names read by the usual spellings"
        case _:
            return "its folder listed, the names read by the declared pattern"


def gap_item(gap: Gap) -> EvidenceItem:
    """Return a gap as what it is: evidence that was sought and not found."""
    return _item(f"not observed: {gap.kind}", gap.subject, gap.at, gap.detail or "asked, and not answered")


def _of_volume(place: PlaceEvidence) -> EvidenceItem:
    seen = place.volume_facts
    if isinstance(seen, Gap):
        return gap_item(seen)
    facts = _shown(
        ("filesystem", seen.filesystem_type), ("UUID", seen.filesystem_uuid), ("mounted from", seen.mount_source),
        ("on drives", ", ".join(sorted(seen.drives)) or None),
    )  # fmt: skip
    return _item(facts, str(seen.volume), seen.at, "shown by the box")


def _of_device(place: PlaceEvidence) -> EvidenceItem:
    box = place.device_facts
    if not isinstance(box, DeviceFacts):
        return gap_item(box)
    facts = _shown(
        ("machine id", box.machine_id), ("boot id", box.boot_id), ("host key", box.host_key),
        ("guest", "yes" if box.is_guest else None),
    )  # fmt: skip
    return _item(facts, str(box.device), box.at, f"asked over {box.over}")


def _shown(*facts: tuple[str, str | None]) -> str:
    return ", ".join(f"{name} {value}" for name, value in facts if value) or "nothing that tells it from another"


def _item(what: str, where: str, at: datetime | None, how: str) -> EvidenceItem:
    return EvidenceItem(what=what, where=where, at=at, how=how)

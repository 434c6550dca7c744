"""A drive on the shelf is judged by what was recorded of it last; how old that may be its copy's `max_age` says."""

from __future__ import annotations

from dataclasses import replace

from coverage_audit.audits.fallback import KeptTree
from coverage_audit.audits.parts import Parts
from coverage_audit.estate.access import ShelfAccess
from coverage_audit.estate.model import Copy, Estate
from coverage_audit.evidence.facts import Gap, GapKind, IdentityCheck, PinState, VolumeFacts
from coverage_audit.evidence.shelf import ShelfTree, of_the_drive
from coverage_audit.judgement.case import PlaceEvidence
from coverage_audit.judgement.identity import check_identity

_NO_NEWS = frozenset(
    {
        GapKind.SHELF, GapKind.UNREACHABLE, GapKind.LOGIN, GapKind.TIME_LIMIT, GapKind.CUT, GapKind.NO_SHELL,
        GapKind.NO_TOOL, GapKind.STORAGE, GapKind.REFUSED,
    }
)  # fmt: skip
"""Why a drive could not be looked at. A folder that is not there, or another drive, is news of the drive itself."""


def on_the_shelf(estate: Estate, copy: Copy, place: PlaceEvidence, gap: Gap, parts: Parts) -> KeptTree | None:
    """Return what was recorded last of a copy that could not be looked at (None: nothing was, or it was seen).

    The place is shown as the drive showed it then, held against what is pinned now; a record of another drive than
    that is no evidence.
    """
    device = place.device
    if not isinstance(device.access, ShelfAccess) or gap.kind not in _NO_NEWS:
        return None
    trees = {tree.address: tree for tree in parts.ledger.shelf_trees(device.id, device.formerly)}
    tree = trees.get(copy.address)
    if tree is None or (copy.points is not None and tree.points is None):
        return None
    shown = _place(estate, tree, place, parts)
    if isinstance(shown.identity, IdentityCheck) and not shown.identity.trusted:
        why = "; ".join(shown.identity.differences)
        other = Gap(subject=str(copy.address), kind=GapKind.ANOTHER_VOLUME, detail=why, at=tree.at)
        return KeptTree(tree=other, place=shown, points=tree.points)
    return KeptTree(tree=tree.manifest, place=shown, points=tree.points)


def _place(estate: Estate, tree: ShelfTree, place: PlaceEvidence, parts: Parts) -> PlaceEvidence:
    pinned = parts.ledger.pins(place.volume.key, place.device.formerly)
    nothing = VolumeFacts(volume=place.volume.key, at=tree.at, path=tree.manifest.origin.root)
    box = tree.device or Gap(subject=str(place.device.id), kind=GapKind.SHELF, detail="", at=tree.at)
    if tree.volume is None:
        check = IdentityCheck(volume=place.volume.key, state=PinState.BY_CONTENT, pinned=pinned or ())
    else:
        shown = of_the_drive(tree.volume)
        check = check_identity(place.volume, shown, box, pinned, rehearsal=estate.rehearsal)
    return replace(place, device_facts=box, volume_facts=tree.volume or nothing, identity=check)

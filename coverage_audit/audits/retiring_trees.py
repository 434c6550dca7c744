"""Which listings are held against which: what leaves, what stays, and what only may hold something."""

from __future__ import annotations

import os
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Final

from coverage_audit.audits.parts import Parts
from coverage_audit.audits.retirement import NotObserved
from coverage_audit.audits.retiring_looking import Looked, border_of
from coverage_audit.audits.retiring_wish import NotKeptWord
from coverage_audit.comparison.held_rows import HeldTree, Region
from coverage_audit.comparison.held_terms import StayingTree
from coverage_audit.comparison.leaving_out import KEPT, LeavingOut
from coverage_audit.estate.access import ShelfAccess
from coverage_audit.estate.model import POINT, Address, DatasetId, Device, Estate, VolumeKey
from coverage_audit.evidence.facts import Gap
from coverage_audit.evidence.manifest import Manifest, PartialManifest
from coverage_audit.scenarios.staying import Stays

LITTER = "the estate's litter"
_SYSTEM_WORD = "operating systems rewrite it by themselves"
SAY_NOT_KEPT: Final = "Make it readable, or name what need not be kept: --not-kept PATTERN, --who, --why."
SEE_TO_IT: Final = "See to what stands in the way, then audit again."
_SHOW_IT: Final = "See to that, or attest that it lies apart (`attested_apart`)."


@dataclass(frozen=True, kw_only=True)
class Trees:
    """All listings with their places. `perhaps` are datasets of which a place that stays was never listed at all."""

    leaving: tuple[HeldTree, ...]
    leaving_at: tuple[Address, ...]
    staying: tuple[StayingTree, ...]
    staying_at: tuple[Address, ...]
    perhaps: tuple[DatasetId, ...]
    not_observed: tuple[NotObserved, ...]
    blind: tuple[tuple[VolumeKey, bytes, str], ...]


def trees_of(estate: Estate, looked: Looked, words: tuple[NotKeptWord, ...], parts: Parts) -> Trees:
    """Sort all that was listed by what it may show."""
    leaving, leaving_at, unseen, blind = _leaving(estate, looked, words)
    staying, staying_at, perhaps = [], list[Address](), set[DatasetId]()
    for device in estate.devices:
        for volume in device.volumes:
            if volume.key in looked.leaving.volumes:
                continue
            for address, one in _staying(estate, looked, volume.key):
                staying.append(one)
                staying_at.append(address)
            older, unknown = _older(estate, looked, volume.key, device, parts)
            for address, one in older:
                staying.append(one)
                staying_at.append(address)
            perhaps |= unknown
    return Trees(
        leaving=leaving,
        leaving_at=leaving_at,
        staying=tuple(staying),
        staying_at=tuple(staying_at),
        perhaps=tuple(sorted(perhaps)),
        not_observed=(*unseen, *_not_staying(estate, looked)),
        blind=blind,
    )


def words_on(estate: Estate, volume: VolumeKey, words: Iterable[NotKeptWord]) -> tuple[NotKeptWord, ...]:
    """Return all that need not be kept of a volume, on whose word and why, in the order in which it decides."""
    litter = (NotKeptWord(pattern=name, who=LITTER, why=_SYSTEM_WORD) for name in estate.litter)
    declared = (
        NotKeptWord(pattern=name, who=one.who, why=one.why)
        for one in estate.not_kept
        if one.volume == volume
        for name in one.names
    )
    return (*litter, *declared, *words)


def regions_on(estate: Estate, volume: VolumeKey) -> tuple[Region, ...]:
    """Return the datasets' places on a volume, the deeper ones last. Of dated copies it is where all points lie."""
    found = [
        (Region(prefix=_prefix(address), dataset=dataset.id, leave_out=dataset.leave_out), not address.has_point)
        for dataset in estate.datasets
        for address in dataset.places
        if address.volume == volume
    ]
    return tuple(
        region for region, _ in sorted(found, key=lambda one: (one[0].prefix.count(b"/") + bool(one[0].prefix), one[1]))
    )


def _leaving(
    estate: Estate, looked: Looked, words: tuple[NotKeptWord, ...]
) -> tuple[tuple[HeldTree, ...], tuple[Address, ...], list[NotObserved], tuple[tuple[VolumeKey, bytes, str], ...]]:
    trees, places, unseen = list[HeldTree](), list[Address](), list[NotObserved]()
    blind: list[tuple[VolumeKey, bytes, str]] = []
    inside = {tree.address: tree.outcome for tree in looked.inner}
    for key in sorted(looked.leaving.volumes):
        own_words = words_on(estate, key, words)
        patterns = tuple(word.pattern for word in own_words)
        leaving_out = LeavingOut(patterns)
        own = [(Address(volume=key, path=""), looked.wholes[key])]
        own += [(address, outcome) for address, outcome in inside.items() if address.volume == key]
        regions = regions_on(estate, key)
        for address, outcome in own:
            below = os.fsencode(address.path)
            if isinstance(outcome, Gap):
                word = leaving_out.which(below, is_folder=True) if below else KEPT
                why = str(outcome).removeprefix(f"{outcome.subject}: ")
                unseen.append(_unseen(str(address), why, None if word == KEPT else own_words[word]))
                continue
            tree = HeldTree(manifest=outcome, below=below, regions=_within(regions, below), not_kept=patterns)
            trees.append(tree)
            places.append(address)
            for place in outcome.blind if isinstance(outcome, PartialManifest) else ():
                full = tree.in_volume(place.path)
                path = os.fsdecode(full)
                apart = path in looked.elsewhere.get(key, ()) or Address(volume=key, path=path) in inside
                looked_into = border_of(place.why) and apart
                word = leaving_out.which(full, is_folder=True) if full else KEPT
                if not looked_into and word == KEPT:
                    blind.append((key, full, place.why))
                elif not looked_into:
                    unseen.append(_unseen(f"{key}/{path}", place.why, own_words[word]))
    return tuple(trees), tuple(places), unseen, tuple(blind)


def _unseen(what: str, why: str, word: NotKeptWord | None) -> NotObserved:
    """Name what was not seen; with somebody's word that it need not be kept it stands in nothing's way."""
    if word is None:
        return NotObserved(what=what, why=why, mend=SEE_TO_IT)
    return NotObserved(what=what, why=f"{why}; {word.said}", mend="", blocks=False)


def _within(regions: Iterable[Region], below: bytes) -> tuple[Region, ...]:
    """Return the regions as they lie in a tree whose root is `below` the volume."""
    found = []
    for region in regions:
        if not below:
            found.append(region)
        elif region.prefix.startswith(below + b"/"):
            found.append(
                Region(prefix=region.prefix[len(below) + 1 :], dataset=region.dataset, leave_out=region.leave_out)
            )
        elif region.prefix == below:
            found.append(Region(prefix=b"", dataset=region.dataset, leave_out=region.leave_out))
    return tuple(found)


def _staying(estate: Estate, looked: Looked, key: VolumeKey) -> Iterable[tuple[Address, StayingTree]]:
    """Give what this audit listed of a volume that stays: all of it, else the datasets' trees on it."""
    counts = looked.stays[key].stays is Stays.STAYS
    not_kept = tuple(word.pattern for word in words_on(estate, key, ()))
    whole = looked.wholes[key]
    if not isinstance(whole, Gap):
        tree = HeldTree(manifest=whole, regions=regions_on(estate, key), not_kept=not_kept)
        yield Address(volume=key, path=""), StayingTree(tree=tree, counts=counts)
        if not isinstance(whole, PartialManifest):
            return
    for dataset in estate.datasets:
        for declared in dataset.places:
            if declared.volume != key:
                continue
            seen = looked.sighting.tree(estate, declared)
            if isinstance(seen, Gap):
                continue
            address = seen.origin.address
            region = Region(prefix=b"", dataset=dataset.id)
            tree = HeldTree(manifest=seen, below=os.fsencode(address.path), regions=(region,), not_kept=not_kept)
            yield address, StayingTree(tree=tree, counts=counts)


def _older(
    estate: Estate, looked: Looked, key: VolumeKey, device: Device, parts: Parts
) -> tuple[list[tuple[Address, StayingTree]], set[DatasetId]]:
    """Return what an earlier listing says of places that were not seen now, and datasets of which there is none."""
    found: list[tuple[Address, StayingTree]] = []
    unknown: set[DatasetId] = set()
    shelf = isinstance(device.access, ShelfAccess)
    recorded = (
        {tree.address: tree.manifest for tree in parts.ledger.shelf_trees(device.id, device.formerly)} if shelf else {}
    )
    for dataset in estate.datasets:
        for declared in dataset.places:
            if declared.volume != key or not _is_unseen(estate, looked, declared):
                continue
            older: Manifest | None = recorded.get(declared) or parts.ledger.last_manifest(declared, device.formerly)
            if older is None:
                unknown.add(dataset.id)
                continue
            tree = HeldTree(manifest=older, regions=(Region(prefix=b"", dataset=dataset.id),))
            found.append((declared, StayingTree(tree=tree, counts=False)))
    return found, unknown


def _is_unseen(estate: Estate, looked: Looked, address: Address) -> bool:
    whole = looked.wholes[address.volume]
    seen = looked.sighting.tree(estate, address)
    return (isinstance(whole, Gap) and isinstance(seen, Gap)) or isinstance(seen, PartialManifest)


def _not_staying(estate: Estate, looked: Looked) -> Iterable[NotObserved]:
    """Name the volumes that hold datasets and are not shown to stay."""
    used = {address.volume for dataset in estate.datasets for address in dataset.places}
    for key, stay in looked.stays.items():
        if stay.stays is Stays.NOT_SHOWN:
            why = f"it is not shown to stay: {stay.why}"
            yield NotObserved(what=str(key), why=why, mend=_SHOW_IT, blocks=key in used)


def _prefix(address: Address) -> bytes:
    path = address.path
    return os.fsencode(path.partition(POINT)[0].rstrip("/") if address.has_point else path)

"""Bring in trees of a shelf drive that were recorded on another machine: read, look through, key again."""

from __future__ import annotations

import secrets
from collections.abc import Sequence
from dataclasses import replace
from datetime import datetime, timedelta

from coverage_audit.audits.parts import Parts
from coverage_audit.audits.recording import Taken, address_of, declared_on
from coverage_audit.errors import EvidenceError, UsageError
from coverage_audit.estate.model import Address, Estate
from coverage_audit.evidence.facts import DeviceFacts, Gap, GapKind, IdentityCheck, PinState, VolumeFacts
from coverage_audit.evidence.shelf import ShelfTree, of_the_drive, without_host
from coverage_audit.evidence.store import keyed_again
from coverage_audit.judgement.identity import check_identity
from coverage_audit.judgement.wording import when

BROUGHT_IN = "brought in from a file"


def brought_in(estate: Estate, trees: Sequence[ShelfTree], wanted: str | None, parts: Parts) -> Taken:
    """Return trees of a file as if they had been taken now, under the addresses that they have here.

    Raises UsageError for addresses that the estate does not have, EvidenceError for what is no evidence: trees of
    several volumes, of the future, or older than what is recorded already.
    """
    here = [(tree, _address(estate, tree, wanted, len(trees))) for tree in trees]
    if len({address.volume for _, address in here}) != 1 or len({address for _, address in here}) != len(here):
        raise EvidenceError("the file holds trees of several volumes, or one twice: name one volume's")
    for tree, address in here:
        refuse_times(estate, tree, address, parts)
    taken = tuple(_keyed(tree, address, parts) for tree, address in here)
    return Taken(trees=taken, identity=_identity(estate, taken[0], parts))


def _address(estate: Estate, tree: ShelfTree, wanted: str | None, of: int) -> Address:
    """Return the address under which a tree is recorded here: its own, or the one that `--for` says."""
    address = address_of(estate, str(tree.address) if wanted is None else wanted)
    if wanted is not None and not address.path and tree.address.path:
        address = replace(address, path=tree.address.path)
    elif wanted is not None and of > 1:
        raise UsageError(f"--for: the file holds {of} trees: name the volume alone, --for {address.volume}")
    declared_on(estate, address)
    return address


def refuse_times(estate: Estate, tree: ShelfTree, address: Address, parts: Parts) -> None:
    """Raise EvidenceError for a tree of the future, or one that is older than what is recorded of its place."""
    now, zone = parts.clock(), estate.time_zone
    finished = tree.manifest.origin.finished
    if max(tree.at, finished) > now + timedelta(seconds=1) or finished < tree.at:
        raise EvidenceError(f"the manifest of {address} was made {when(tree.at, zone)}, which is to come")
    device = estate.device(address.volume.device)
    known = {one.address: one.at for one in parts.ledger.shelf_trees(device.id, device.formerly)}
    newest: datetime | None = known.get(address)
    if newest is not None and tree.at <= newest <= now:
        raise EvidenceError(
            f"the manifest of {address} was made {when(tree.at, zone)}, and one of {when(newest, zone)} is recorded "
            "already: nothing was recorded"
        )


def _keyed(tree: ShelfTree, address: Address, parts: Parts) -> ShelfTree:
    own = tree.manifest.origin.address
    placed = replace(own, volume=address.volume) if address.has_point else address
    origin = replace(tree.manifest.origin, address=placed)
    file = parts.work.folder / f"{secrets.token_hex(16)}.parquet"
    manifest = keyed_again(tree.manifest, file, parts.work.seed, parts.work.memory, origin=origin)
    device = None if tree.device is None else replace(without_host(tree.device), device=address.volume.device)
    volume: VolumeFacts | None = None if tree.volume is None else replace(tree.volume, volume=address.volume)
    points = None if tree.points is None else replace(tree.points, address=address)
    return replace(
        tree, address=address, manifest=manifest, how=BROUGHT_IN, device=device, volume=volume, points=points
    )


def _identity(estate: Estate, tree: ShelfTree, parts: Parts) -> IdentityCheck:
    device, key = estate.device(tree.address.volume.device), tree.address.volume
    pinned = parts.ledger.pins(key, device.formerly)
    if tree.volume is None:
        return IdentityCheck(volume=key, state=PinState.BY_CONTENT, pinned=pinned or ())
    nothing = Gap(subject=str(device.id), kind=GapKind.SHELF, detail="", at=tree.at)
    box: DeviceFacts | Gap = tree.device or nothing
    volume = estate.volume(key)
    return check_identity(volume, of_the_drive(tree.volume), box, pinned, rehearsal=estate.rehearsal)

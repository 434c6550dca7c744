"""What `manifest` says: what was recorded of a drive, and what differs from an open manifest. Plain text."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from zoneinfo import ZoneInfo

from coverage_audit.audits.against import Held
from coverage_audit.estate.model import Address
from coverage_audit.estate.units import format_size
from coverage_audit.evidence.facts import IdentityCheck, PinState
from coverage_audit.evidence.manifest import Blind, Manifest, PartialManifest
from coverage_audit.evidence.shelf import ShelfTree
from coverage_audit.evidence.visible import visible
from coverage_audit.judgement.wording import when

_SHOWN = 10
_STATES = {
    PinState.PINNED_NOW: "seen for the first time: what it shows is pinned from now on",
    PinState.AS_PINNED: "the drive that is pinned",
    PinState.CHANGED: "another drive than was pinned, accepted now",
    PinState.BY_CONTENT: "shows nothing by which it is known: that its content goes on is its identity",
    PinState.TAKEN_AS_DECLARED: "taken as declared (rehearsal)",
}


def recorded_text(
    trees: Sequence[ShelfTree],
    identity: IdentityCheck | None,
    undigested: Sequence[tuple[Address, Blind]],
    zone: ZoneInfo,
) -> str:
    """Say what was taken of a drive: entries, bytes, blind places, identity."""
    lines = [line for tree in trees for line in _tree(tree, zone)]
    lines += _named("no digest could be made of", [(blind.path, blind.why) for _, blind in undigested])
    if identity is not None:
        lines.append(f"{identity.volume}: {_STATES.get(identity.state, str(identity.state))}")
        lines += [f"  {fact.name.replace('_', ' ')} {visible(fact.value)}" for fact in identity.seen]
        lines += [f"  ! {visible(difference)}" for difference in identity.differences]
    return "\n".join(lines) + "\n"


def held_text(held: Held) -> str:
    """Say what differs between a tree and an open manifest, every name of it."""
    lines = [f"missing  {visible(path)}" for path in held.missing]
    lines += [f"changed  {visible(path)} ({visible(why)})" for path, why in held.changed]
    lines += [f"added    {visible(path)}" for path in held.added]
    lines += [f"unread   {visible(blind.path or b'.')} ({visible(blind.why)})" for blind in held.unread]
    counts = f"{len(held.missing)} missing, {len(held.changed)} changed, {len(held.added)} added"
    unread = f", {len(held.unread)} not read" if held.unread else ""
    lines.append(f"{held.compared} entries held against the manifest: {counts}{unread}")
    return "\n".join(lines) + "\n"


def _tree(tree: ShelfTree, zone: ZoneInfo) -> Iterator[str]:
    manifest = tree.manifest
    census = manifest.census
    held = f"{census.entries} entries, {census.files} files, {format_size(census.bytes)}"
    yield f"{tree.address}: {held}, as of {when(tree.at, zone)}"
    if manifest.origin.address != tree.address:
        yield f"  its newest recovery point, {visible(manifest.origin.address.path)}"
    if manifest.origin.digest:
        yield f"  {census.digested} files with a {manifest.origin.digest} digest"
    yield from _blind(manifest)


def _blind(manifest: Manifest) -> Iterator[str]:
    if isinstance(manifest, PartialManifest):
        yield from _named("could not be looked into:", [(blind.path or b".", blind.why) for blind in manifest.blind])


def _named(what: str, places: Sequence[tuple[bytes, str]]) -> list[str]:
    if not places:
        return []
    lines = [f"  {what} {len(places)}"]
    lines += [f"    {visible(path)} ({visible(why)})" for path, why in places[:_SHOWN]]
    if len(places) > _SHOWN:
        lines.append(f"    and {len(places) - _SHOWN} more")
    return lines

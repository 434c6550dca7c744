"""A tree as it is now against an open manifest of it: what is missing, changed, added."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from coverage_audit.audits.opening import opened
from coverage_audit.audits.parts import Parts
from coverage_audit.audits.recording import reached
from coverage_audit.errors import CollectionError
from coverage_audit.estate.model import Address, Device, DeviceId, Estate, Medium, Volume, VolumeId, VolumeKey
from coverage_audit.evidence.collected import Question
from coverage_audit.evidence.facts import Gap
from coverage_audit.evidence.manifest import Blind, Kind, Manifest, PartialManifest, Row
from coverage_audit.evidence.order import tree_key
from coverage_audit.evidence.store import rows

_KEY = VolumeKey(device=DeviceId("here"), volume=VolumeId("tree"))


@dataclass(frozen=True, kw_only=True)
class Held:
    """What differs. `unread` are places and files of which nothing can be said, on either side."""

    missing: tuple[bytes, ...]
    changed: tuple[tuple[bytes, str], ...]
    added: tuple[bytes, ...]
    unread: tuple[Blind, ...]
    compared: int

    @property
    def agrees(self) -> bool:
        """Whether nothing differs (what was not read aside)."""
        return not (self.missing or self.changed or self.added)


def hold_against(estate: Estate, path: str, file: Path, on: str | None, parts: Parts) -> Held:
    """Walk `path` and hold it against the open manifest `file`, by all that this says of each entry.

    Raises CollectionError where either cannot be read, UsageError for a device that the estate does not have.
    """
    address = Address(volume=_KEY, path="")
    wanted = opened(file, address, parts.clock(), parts)
    seen, undigested = _seen(path, on, wanted.origin.digest, estate, parts)
    blind = seen.blind if isinstance(seen, PartialManifest) else ()
    unsaid = wanted.blind if isinstance(wanted, PartialManifest) else ()
    hidden, open_to_all = (tuple(place.path for place in places) for places in (blind, unsaid))
    own = _own_name(path, file, on)
    missing, changed, added = list[bytes](), list[tuple[bytes, str]](), list[bytes]()
    for said, found in _joined(rows(wanted.file), rows(seen.file)):
        if found is None:
            missing += [said.path] if said is not None and not _below(said.path, hidden) else []
        elif said is None:
            left = _unsaid(found, wanted) or _below(found.path, open_to_all) or found.path == own
            added += [] if left else [found.path]
        elif why := _difference(said, found, wanted, seen):
            changed.append((said.path, why))
    return Held(
        missing=tuple(missing),
        changed=tuple(changed),
        added=tuple(added),
        unread=(*blind, *unsaid, *undigested),
        compared=wanted.census.entries,
    )


def _seen(
    path: str, on: str | None, digest: str | None, estate: Estate, parts: Parts
) -> tuple[Manifest, tuple[Blind, ...]]:
    host, access = reached(estate, on)
    volume = Volume(key=_KEY, path=path, medium=Medium.HDD)
    site = estate.device(host).site if host else estate.devices[0].site
    device = Device(id=_KEY.device, site=site, access=access, volumes=(volume,))
    question = Question(device=device, volumes=(volume,), trees=(Address(volume=_KEY, path=""),), digest=digest)
    (answer,) = parts.gather([question])
    (tree,) = answer.trees
    if isinstance(tree.outcome, Gap):
        raise CollectionError(f"{path} was not read: {tree.outcome.kind} ({tree.outcome.detail})")
    return tree.outcome, tree.undigested


def _joined(first: Iterator[Row], second: Iterator[Row]) -> Iterator[tuple[Row | None, Row | None]]:
    """Join two listings in tree order, an entry of both at a time."""
    one, two = next(first, None), next(second, None)
    while one is not None or two is not None:
        if two is None or (one is not None and tree_key(one.path) < tree_key(two.path)):
            yield one, None
            one = next(first, None)
        elif one is None or tree_key(two.path) < tree_key(one.path):
            yield None, two
            two = next(second, None)
        else:
            yield one, two
            one, two = next(first, None), next(second, None)


def _difference(said: Row, found: Row, wanted: Manifest, seen: Manifest) -> str:
    """Say what of an entry differs from what the manifest says of it (empty: nothing does)."""
    lacks = wanted.origin.lacks
    if said.kind is not found.kind:
        return "it is of another kind"
    if said.kind is Kind.LINK:
        return "it leads elsewhere" if "targets" not in lacks and said.target != found.target else ""
    if said.kind is not Kind.FILE:
        return ""
    step = max(wanted.census.granularity_ns, seen.census.granularity_ns)
    differing = {
        f"{found.size} bytes, not {said.size}": "size" not in lacks and said.size != found.size,
        "its content differs": said.digest != found.digest and None not in {said.digest, found.digest},
        "its time differs": "mtime" not in lacks and said.mtime_ns // step != found.mtime_ns // step,
    }
    return next((why for why, differs in differing.items() if differs), "")


def _unsaid(found: Row, wanted: Manifest) -> bool:
    """Whether the manifest would not list such an entry at all."""
    return "kinds" in wanted.origin.lacks and found.kind is not Kind.FILE


def _below(path: bytes, hidden: tuple[bytes, ...]) -> bool:
    return any(not place or path == place or path.startswith(place + b"/") for place in hidden)


def _own_name(path: str, file: Path, on: str | None) -> bytes | None:
    """Return the path of the manifest itself below the tree, where it lies in it."""
    folder, own = Path(path).resolve(), file.resolve()
    return None if on or not own.is_relative_to(folder) else bytes(own.relative_to(folder))

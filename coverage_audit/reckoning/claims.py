"""Which places on a volume somebody claims: datasets with their originals, copies and points, and nested volumes.

A claim is a path below the volume's own, part by part; one part may stand for any recovery point. Of several claims
that hold a place the deepest is its holder.
"""

from __future__ import annotations

import time
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field

from coverage_audit.estate.model import POINT, Address, Copy, Dataset, Device, Estate, Volume
from coverage_audit.estate.sources import DatedFiles, DatedFolders
from coverage_audit.evidence.surveyed import Holder, Share


@dataclass(frozen=True, kw_only=True)
class AnyPoint:
    """The part of a path that is one recovery point, by a `strptime` pattern (None: by any spelling)."""

    pattern: str | None

    def matches(self, name: bytes) -> bool:
        """Whether a name can be a point."""
        if self.pattern is None:
            return True
        try:
            time.strptime(name.decode("utf-8"), self.pattern)
        except ValueError:  # a UnicodeDecodeError too
            return False
        return True


Part = bytes | AnyPoint


@dataclass(frozen=True, kw_only=True)
class Claim:
    """A place below a volume, and whose it is."""

    parts: tuple[Part, ...]
    holder: Holder


@dataclass
class _Node:
    holder: Holder | None = None
    named: dict[bytes, _Node] = field(default_factory=dict)
    points: dict[AnyPoint, _Node] = field(default_factory=dict)

    def below(self, name: bytes) -> Iterator[_Node]:
        """Give the nodes that a name leads to."""
        if name in self.named:
            yield self.named[name]
        yield from (node for point, node in self.points.items() if point.matches(name))


class Claims:
    """The claims on one volume, looked up by path. `longest` is how many parts the longest has."""

    def __init__(self, claims: Iterable[Claim]) -> None:
        self.all = tuple(claims)
        self.longest = max((len(claim.parts) for claim in self.all), default=0)
        self._root = _Node()
        for claim in self.all:
            node = self._root
            for part in claim.parts:
                following: dict[bytes, _Node] | dict[AnyPoint, _Node] = (
                    node.points if isinstance(part, AnyPoint) else node.named
                )
                node = following.setdefault(part, _Node())  # type: ignore[arg-type]
            node.holder = claim.holder

    def holder_of(self, path: bytes) -> tuple[Holder | None, bool]:
        """Return whose a path is (None: nobody's), and whether a claim lies, or may lie, further down."""
        nodes, holder = [self._root], self._root.holder
        for name in path.split(b"/") if path else ():
            nodes = [node for above in nodes for node in above.below(name)]
            if not nodes:
                return holder, False
            holder = next((node.holder for node in nodes if node.holder is not None), holder)
        return holder, any(node.named or node.points for node in nodes)


def claims_on(estate: Estate, volume: Volume) -> tuple[Claim, ...]:
    """Return all claims on a volume: also by what is declared of other volumes of its device above or below it."""
    device = estate.device(volume.key.device)
    own = _parts(volume.path)
    nested = (
        (_parts(other.path), Holder(share=Share.CLAIMED, name=str(other.key), role="volume"))
        for other in device.volumes
        if other.key != volume.key and len(_parts(other.path)) > len(own)
    )
    claimed = (claim for dataset in estate.datasets for claim in _of_dataset(dataset, device))
    found = (_below(own, parts, holder) for parts, holder in (*nested, *claimed))
    return tuple(claim for claim in found if claim is not None)


def _of_dataset(dataset: Dataset, device: Device) -> Iterator[tuple[tuple[Part, ...], Holder]]:
    paths = {volume.key: volume.path for volume in device.volumes}
    for copy in dataset.copies:
        if copy.address.volume in paths:
            role = "points" if copy.points is not None else "copy"
            yield (
                _address(paths[copy.address.volume], copy.address, copy),
                Holder(share=Share.CLAIMED, name=dataset.id, role=role),
            )
    if dataset.original.volume in paths:
        yield (
            _address(paths[dataset.original.volume], dataset.original, None),
            Holder(share=Share.CLAIMED, name=dataset.id, role="original"),
        )


def _address(volume: str, address: Address, copy: Copy | None) -> tuple[Part, ...]:
    points = copy.points if copy else None
    point = AnyPoint(pattern=points.pattern if isinstance(points, DatedFolders | DatedFiles) else None)
    inner = (point if part == POINT else _octets(part) for part in address.path.split("/") if part)
    return (*_parts(volume), *inner)


def _below(volume: Sequence[Part], claimed: tuple[Part, ...], holder: Holder) -> Claim | None:
    """Return a claim relative to a volume: all of it where the claim lies above, nothing where it lies beside."""
    for own, other in zip(volume, claimed, strict=False):
        same = other.matches(own) if isinstance(other, AnyPoint) and isinstance(own, bytes) else own == other
        if not same:
            return None
    return Claim(parts=claimed[len(volume) :], holder=holder)


def _parts(path: str) -> tuple[bytes, ...]:
    return tuple(_octets(part) for part in path.split("/") if part)


def _octets(text: str) -> bytes:
    return text.encode("utf-8", "surrogateescape")

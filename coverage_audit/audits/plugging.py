"""A shelf drive where it is plugged in: asked and walked through the box that it hangs on, under its own name."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace

from coverage_audit.estate.access import Access
from coverage_audit.estate.model import Address, Copy, Dataset, Device, DeviceId, Estate, Volume
from coverage_audit.evidence.collected import Answer, Question
from coverage_audit.evidence.facts import DeviceFacts, Gap, PointList, VolumeFacts
from coverage_audit.evidence.manifest import Manifest
from coverage_audit.evidence.shelf import ShelfTree, without_host


def lies_on(volume: Volume, datasets: Iterable[Dataset]) -> tuple[tuple[Address, ...], tuple[Copy, ...]]:
    """Return what datasets declare on a volume: plain places, and copies that are dated."""
    plain: list[Address] = []
    dated: list[Copy] = []
    for dataset in datasets:
        plain += [a for a in dataset.places if not a.has_point]
        dated += [copy for copy in dataset.copies if copy.address.has_point]
    return (
        tuple(dict.fromkeys(address for address in plain if address.volume == volume.key)),
        tuple({copy.address: copy for copy in dated if copy.address.volume == volume.key}.values()),
    )


def question_at(
    estate: Estate,
    shelf: Device,
    access: Access,
    volumes: Mapping[Volume, str],
    trees: Sequence[Address],
    pointed: Sequence[Copy],
) -> Question:
    """Return the question to a shelf device whose volumes lie at these paths of a box that is reached so."""
    there = tuple(replace(volume, path=path) for volume, path in volumes.items())
    return Question(
        device=replace(shelf, access=access, volumes=there),
        volumes=there,
        trees=tuple(trees),
        pointed=tuple(pointed),
        estate_zone=estate.time_zone,
    )


def as_carried(answer: Answer) -> Answer:
    """Return an answer without what is the box's own: a drive is not one machine with whatever it hangs on."""
    return replace(answer, facts=answer.facts if isinstance(answer.facts, Gap) else without_host(answer.facts))


def trees_recorded(
    answer: Answer, seen: Iterable[tuple[Address, Manifest]], *, host: DeviceId | None, how: str
) -> tuple[ShelfTree, ...]:
    """Return trees with what their drive showed. `seen` are declared addresses with their manifests."""
    volumes = {facts.volume: facts for facts in answer.volumes if isinstance(facts, VolumeFacts)}
    points = {one.address: one.outcome for one in answer.points if isinstance(one.outcome, PointList)}
    return tuple(
        ShelfTree(
            address=address,
            manifest=manifest,
            at=manifest.origin.started,
            how=how,
            host=host,
            device=answer.facts if isinstance(answer.facts, DeviceFacts) else None,
            volume=volumes.get(address.volume),
            points=points.get(address),
        )
        for address, manifest in seen
    )

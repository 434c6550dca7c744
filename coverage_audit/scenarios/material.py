"""What the scenarios work on: an audit as it was judged, laid out anew under what is declared today.

A place that is declared and was not judged counts for nothing, and is named; so does a dataset whose original lay
elsewhere then. A place that was judged and is declared no more is left out.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from datetime import datetime
from functools import cached_property

from coverage_audit.estate.model import Address, Dataset, DatasetId, DeviceId, Estate, VolumeKey
from coverage_audit.evidence.facts import DeviceFacts
from coverage_audit.evidence.measured import MeasuredRate
from coverage_audit.judgement.case import DatasetCase, PlaceEvidence
from coverage_audit.judgement.context import DatasetContext
from coverage_audit.judgement.holding import holdings_of
from coverage_audit.judgement.judge import findings_of
from coverage_audit.judgement.stakes import Stake, stakes_of
from coverage_audit.judgement.verdict import (
    Conclusion,
    Finding,
    JudgedCopy,
    JudgedDataset,
    JudgedEstate,
    JudgedOriginal,
)


@dataclass(frozen=True, kw_only=True)
class DatasetMaterial:
    """One dataset: as it was judged, its rules' context, and its places as stakes."""

    judged: JudgedDataset
    context: DatasetContext
    stakes: tuple[Stake, ...]

    @cached_property
    def findings(self) -> tuple[Finding, ...]:
        """What its rules answer while nothing is gone."""
        return findings_of(self.context)


@dataclass(frozen=True, kw_only=True)
class Material:
    """All of it. `at` is now, `rates` are those that drills measured. `unjudged` names what counts for nothing."""

    estate: Estate
    judged: JudgedEstate
    datasets: tuple[DatasetMaterial, ...]
    unjudged: tuple[str, ...]
    at: datetime
    rates: tuple[MeasuredRate, ...] = ()


def material_of(
    estate: Estate,
    judged: JudgedEstate,
    *,
    at: datetime,
    rates: tuple[MeasuredRate, ...] = (),
    worse_since: Mapping[DatasetId, Conclusion] | None = None,
) -> Material:
    """Lay out an audit for the scenarios.

    `worse_since` are datasets that an audit of some datasets alone did not find conforming since: what this audit saw
    of them counts for nothing any more.
    """
    worse = worse_since or {}
    before = {dataset.id: dataset for dataset in judged.datasets}
    machines = _machines(judged)
    unjudged: list[str] = []
    contexts: list[tuple[JudgedDataset, DatasetContext]] = []
    for dataset in estate.datasets:
        found = before.get(dataset.id)
        if found is None or not _lies_as_then(dataset, found, estate):
            unjudged.append(str(dataset.id))
            continue
        if dataset.id in worse:
            unjudged.append(f"{dataset.id}, which a later audit of some datasets found {worse[dataset.id]}")
            continue
        unjudged += [f"{dataset.id} at {address}" for address in _not_judged(dataset, found)]
        contexts.append((found, _context(dataset, found, estate, judged, machines, rates)))
    places = _places(contexts)
    return Material(
        estate=estate,
        judged=judged,
        datasets=tuple(
            DatasetMaterial(
                judged=found,
                context=context,
                stakes=stakes_of(context, places.values()),
            )
            for found, context in contexts
        ),
        unjudged=tuple(unjudged),
        at=at,
        rates=rates,
    )


def _lies_as_then(dataset: Dataset, judged: JudgedDataset, estate: Estate) -> bool:
    place = judged.original.evidence.place
    return place.volume.key == dataset.original.volume and _is_declared(dataset.original, estate)


def _is_declared(address: Address, estate: Estate) -> bool:
    return any(volume.key == address.volume for device in estate.devices for volume in device.volumes)


def _not_judged(dataset: Dataset, judged: JudgedDataset) -> Iterator[Address]:
    seen = {copy.address for copy in judged.copies}
    yield from (copy.address for copy in dataset.copies if copy.address not in seen)


def _context(
    dataset: Dataset,
    judged: JudgedDataset,
    estate: Estate,
    audit: JudgedEstate,
    machines: Mapping[DeviceId, DeviceFacts],
    rates: tuple[MeasuredRate, ...],
) -> DatasetContext:
    policy = estate.policy(dataset.policy)
    original = _original_now(judged.original, dataset.original, estate)
    copies = tuple(_copies_now(dataset, judged, estate))
    case = DatasetCase(
        dataset=replace(dataset, copies=tuple(copy.evidence.copy for copy in copies)),
        policy=policy,
        original=original.evidence,
        copies=tuple(copy.evidence for copy in copies),
        exposure=judged.exposure,
        rates=rates,
    )
    return DatasetContext(
        case=case,
        estate=estate,
        original=original,
        copies=copies,
        holdings=holdings_of(
            dataset.original, original, copies, estate=estate, machines=machines, started=audit.started
        ),
        started=audit.started,
        finished=audit.finished,
        rooms={room.volume: room for room in audit.rooms},
        machines=machines,
    )


def _original_now(original: JudgedOriginal, address: Address, estate: Estate) -> JudgedOriginal:
    evidence = original.evidence
    return replace(original, evidence=replace(evidence, place=_place_now(evidence.place, address, estate)))


def _copies_now(dataset: Dataset, judged: JudgedDataset, estate: Estate) -> Iterator[JudgedCopy]:
    before = {copy.address: copy for copy in judged.copies}
    for declared in dataset.copies:
        copy = before.get(declared.address)
        if copy is not None and _is_declared(declared.address, estate):
            place = _place_now(copy.evidence.place, declared.address, estate)
            yield replace(copy, evidence=replace(copy.evidence, copy=declared, place=place), site=place.device.site)


def _place_now(place: PlaceEvidence, address: Address, estate: Estate) -> PlaceEvidence:
    return replace(place, device=estate.device(address.volume.device), volume=estate.volume(address.volume))


def _machines(judged: JudgedEstate) -> dict[DeviceId, DeviceFacts]:
    return {
        place.device.id: place.device_facts
        for dataset in judged.datasets
        for place in (dataset.original.evidence.place, *(copy.evidence.place for copy in dataset.copies))
        if isinstance(place.device_facts, DeviceFacts)
    }


def _places(contexts: list[tuple[JudgedDataset, DatasetContext]]) -> dict[VolumeKey, PlaceEvidence]:
    """Return one place of each volume: what its filesystem shows is the same of all of them."""
    return {holding.place.volume.key: holding.place for _, context in contexts for holding in context.holdings.places}

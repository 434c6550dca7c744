"""What drills found damaged after an audit: news that it does not know, and that whoever rests on it must be told."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import replace
from datetime import datetime

from coverage_audit.audits.remembering_drills import shortened
from coverage_audit.estate.changes import ChangeKind, Detail, EstateChange
from coverage_audit.estate.declared import Part
from coverage_audit.estate.former import lineage_of
from coverage_audit.estate.model import Address, DatasetId, Estate
from coverage_audit.evidence.drilling import DrillsOfCopy
from coverage_audit.judgement.conclusions import conclude_estate
from coverage_audit.judgement.drill_damage import damage_in_words
from coverage_audit.judgement.verdict import Conclusion, Ground, JudgedCopy, JudgedDataset, JudgedEstate, Standing
from coverage_audit.ledger.ledger import Ledger


def damaged_since(estate: Estate, ledger: Ledger, since: Callable[[DatasetId], datetime]) -> tuple[EstateChange, ...]:
    """Return the copies of which a drill found damage after the audit of their dataset, begun at `since` of it.

    Raises LedgerError.
    """
    return tuple(
        EstateChange(
            kind=ChangeKind.DAMAGED,
            part=Part.COPY,
            name=f"{dataset}@{address}",
            details=(Detail(what=damage_in_words(drills, estate.time_zone) or "", before=None, now=None),),
        )
        for dataset, address, drills in _damaged(estate, ledger, since)
    )


def as_drilled_since(judged: JudgedEstate, estate: Estate, ledger: Ledger) -> JudgedEstate:
    """Return an audit with the standing that these copies would have in the next one. Raises LedgerError."""
    found = {
        (dataset, address): drills for dataset, address, drills in _damaged(estate, ledger, lambda _: judged.started)
    }
    datasets = tuple(_lowered(one, found, estate) for one in judged.datasets)
    conclusions = [judged.conclusion, *(one.conclusion for one in datasets)]
    return replace(judged, datasets=datasets, conclusion=conclude_estate(conclusions, ()))


def _lowered(
    one: JudgedDataset, found: Mapping[tuple[DatasetId, Address], DrillsOfCopy], estate: Estate
) -> JudgedDataset:
    """Return a dataset with its damaged copies: it does not conform any more until an audit has seen what is left."""
    copies = tuple(_as_drilled(copy, found.get((one.id, copy.address)), estate) for copy in one.copies)
    if copies == one.copies or one.conclusion is not Conclusion.CONFORMING:
        return replace(one, copies=copies)
    return replace(one, copies=copies, conclusion=Conclusion.UNVERIFIED)


def _as_drilled(copy: JudgedCopy, drills: DrillsOfCopy | None, estate: Estate) -> JudgedCopy:
    reason = damage_in_words(drills, estate.time_zone) if drills is not None else None
    if reason is None or drills is None:
        return copy
    evidence = replace(copy.evidence, drills=shortened(drills))
    return replace(copy, standing=Standing.DAMAGED, ground=Ground.CONTENT, reason=reason, evidence=evidence)


def _damaged(
    estate: Estate, ledger: Ledger, since: Callable[[DatasetId], datetime]
) -> Iterator[tuple[DatasetId, Address, DrillsOfCopy]]:
    lineage = lineage_of(estate)
    for dataset in estate.datasets:
        for copy in dataset.copies:
            drills = ledger.drills.newest(dataset.id, copy.address, lineage)
            damage = drills.standing_damage
            if damage is not None and damage.at >= since(dataset.id):
                yield dataset.id, copy.address, drills

"""An original and a copy of it as their content is read: where, by which way, with which digest."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import datetime

from coverage_audit.audits.comparing import CopyOutcome
from coverage_audit.audits.parts import Parts
from coverage_audit.comparison.drawing import Compared
from coverage_audit.comparison.leaving_out import patterns_of
from coverage_audit.estate.model import Address, Device, DeviceId, Estate
from coverage_audit.evidence.content import ALGORITHMS, common_algorithm
from coverage_audit.evidence.facts import Gap, GapKind
from coverage_audit.evidence.store import open_manifest
from coverage_audit.judgement.case import DatasetCase, PlaceEvidence


@dataclass(frozen=True, kw_only=True)
class ReadPlace:
    """One side: declared `address`, `root` of its tree, `device` with the way to it, `clock` whose time it takes."""

    address: Address
    device: Device
    root: str
    clock: DeviceId


@dataclass(frozen=True, kw_only=True)
class ContentPair:
    """Both sides, the comparison that says what the copy holds, and the algorithm that both can digest with."""

    original: ReadPlace
    copy: ReadPlace
    compared: Compared
    algorithm: str


def pair_to_read(
    estate: Estate, case: DatasetCase, outcome: CopyOutcome, parts: Parts, *, started: datetime
) -> ContentPair | Gap | None:
    """Return what of a copy can be read now (None: it was not seen in this audit, or the original was not).

    A gap where a listing does not show what a file could be known by, or no digest can be had on both sides.
    """
    rows = _rows(estate, case, outcome)
    if rows is None or min(rows.original.origin.started, rows.copy.origin.started) < started:
        return None
    subject = str(outcome.evidence.copy.address)
    lacks = (rows.original.origin.lacks | rows.copy.origin.lacks) & {"size", "mtime"}
    if lacks:
        said = (
            f"its listing shows no {' and no '.join(sorted(lacks))} of a file, so none can be told from a changed one"
        )
        return Gap(subject=subject, kind=GapKind.NO_TOOL, detail=said, at=parts.clock())
    sides = _sides(estate, case, outcome, rows)
    algorithm = _algorithm(sides, subject, parts)
    if isinstance(algorithm, Gap):
        return algorithm
    return ContentPair(original=sides[0], copy=sides[1], compared=rows, algorithm=algorithm)


def pair_remembered(
    estate: Estate, case: DatasetCase, outcome: CopyOutcome, parts: Parts, *, started: datetime
) -> ContentPair | None:
    """Return a copy that was seen in this audit beside the last listing of its original, which was not (None: neither).

    Nothing can be read on both sides; what was read of them before may stand still.
    """
    rows = _rows(estate, case, outcome)
    if rows is None or not rows.original.origin.started < started <= rows.copy.origin.started:
        return None
    original, copy = _sides(estate, case, outcome, rows)
    digests, formerly = parts.ledger.digests, copy.device.formerly
    kept = (name for name in ALGORITHMS if digests.of(copy.address, name, formerly).file is not None)
    return ContentPair(original=original, copy=copy, compared=rows, algorithm=next(kept, ALGORITHMS[0]))


def _rows(estate: Estate, case: DatasetCase, outcome: CopyOutcome) -> Compared | None:
    evidence, found = outcome.evidence, outcome.compared
    compared = evidence.comparison
    if found is None or found.copy_file is None or compared is None or compared.relation is None:
        return None
    return Compared(
        original=open_manifest(found.original_file),
        copy=open_manifest(found.copy_file),
        relation=compared.relation,
        leave_out=patterns_of(estate.litter, case.dataset, evidence.copy),
    )


def _sides(estate: Estate, case: DatasetCase, outcome: CopyOutcome, rows: Compared) -> tuple[ReadPlace, ReadPlace]:
    evidence = outcome.evidence
    return (
        _place(estate, case.original.place, case.dataset.original, rows.original.origin.root),
        _place(estate, evidence.place, evidence.copy.address, rows.copy.origin.root),
    )


def _place(estate: Estate, place: PlaceEvidence, address: Address, root: str) -> ReadPlace:
    """Return one side; a shelf drive that is plugged in is read by way of the box that it hangs on."""
    if place.attached is None:
        return ReadPlace(address=address, device=place.device, root=root, clock=place.device.id)
    host = estate.device(place.attached.host)
    return ReadPlace(address=address, device=replace(place.device, access=host.access), root=root, clock=host.id)


def _algorithm(sides: tuple[ReadPlace, ReadPlace], subject: str, parts: Parts) -> str | Gap:
    usable = [parts.usable_digests(side.device) for side in sides]
    for found in usable:
        if isinstance(found, Gap):
            return found
    algorithm = common_algorithm(*(found for found in usable if not isinstance(found, Gap)))
    if algorithm is None:
        said = "there is no digest that can be made of files on both sides"
        return Gap(subject=subject, kind=GapKind.NO_TOOL, detail=said, at=parts.clock())
    return algorithm

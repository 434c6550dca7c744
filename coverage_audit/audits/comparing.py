"""Compare: each copy's tree of a dataset with its original's, with what earlier audits knew.

Of dated copies the newest point is compared; where it turns out to have a hole (it may be half made), the next
older one is fetched and compared too, and the newest without a hole is the one that is judged.
"""

from __future__ import annotations

import os
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass, replace
from functools import partial
from pathlib import Path

from coverage_audit.audits.absent import absent_tree
from coverage_audit.audits.fallback import earlier_tree, last_seen, with_earlier_points
from coverage_audit.audits.leading import leading
from coverage_audit.audits.older_points import older_points
from coverage_audit.audits.parts import Parts
from coverage_audit.audits.remembering import with_past
from coverage_audit.audits.shelf import on_the_shelf
from coverage_audit.audits.sighting import Sighting
from coverage_audit.comparison.carry import carry
from coverage_audit.comparison.compare import match
from coverage_audit.comparison.leaving_out import patterns_of, worth_telling
from coverage_audit.comparison.pair import keeps_times
from coverage_audit.comparison.summing import without
from coverage_audit.comparison.types import Earlier, Look
from coverage_audit.errors import ComparisonError, EvidenceError
from coverage_audit.estate.former import lineage_of
from coverage_audit.estate.model import Address, Copy, Dataset, Device, Estate, Policy
from coverage_audit.evidence.collected import SecondLook, SeenTree
from coverage_audit.evidence.difference import CopyComparison
from coverage_audit.evidence.facts import Gap, GapKind, PointList, RecoveryPoint
from coverage_audit.evidence.manifest import Manifest
from coverage_audit.judgement.case import CopyEvidence
from coverage_audit.ledger.record import Compared
from coverage_audit.reckoning.keeping_up import lacks_most


@dataclass(frozen=True, kw_only=True)
class OriginalTree:
    """The tree against which a dataset's copies are judged; `fresh`: it was seen in this audit.

    `fallen` are the rows of what went or changed there at once and still stands (None: nothing did).
    """

    estate: Estate
    dataset: Dataset
    policy: Policy
    device: Device
    tree: Manifest
    fresh: bool
    fallen: Path | None = None


@dataclass(frozen=True, kw_only=True)
class CopyOutcome:
    """One copy's evidence, the comparison to be recorded, and the trees fetched for it beyond the first."""

    evidence: CopyEvidence
    compared: Compared | None = None
    fetched: tuple[SeenTree, ...] = ()


@dataclass(frozen=True, kw_only=True)
class _Attempt:
    tree: Manifest
    address: Address
    comparison: CopyComparison


def compare_copy(
    estate: Estate, original: OriginalTree | Gap, copy: Copy, sighting: Sighting, parts: Parts
) -> CopyOutcome:
    """Gather all evidence of one copy, and compare its tree where there is one.

    Where the auditor's own disk fails in the middle of it, this copy is not compared: a gap, and the others go on.
    """
    try:
        outcome = _compared_copy(estate, original, copy, sighting, parts)
    except (ComparisonError, EvidenceError) as error:
        gap = Gap(subject=str(copy.address), kind=GapKind.STORAGE, detail=str(error), at=parts.clock())
        place = sighting.place(estate, copy.address)
        bare = CopyEvidence(copy=copy, place=place, points=_points(copy, sighting), gap=gap)
        outcome = CopyOutcome(evidence=bare)
    return replace(outcome, evidence=with_past(outcome.evidence, parts))


def _points(copy: Copy, sighting: Sighting) -> PointList | Gap | None:
    return sighting.points.get(copy.address) if copy.points else None


def _compared_copy(
    estate: Estate, original: OriginalTree | Gap, copy: Copy, sighting: Sighting, parts: Parts
) -> CopyOutcome:
    bare = CopyEvidence(copy=copy, place=sighting.place(estate, copy.address), points=_points(copy, sighting))
    if copy.is_opaque:
        return CopyOutcome(evidence=with_earlier_points(estate, bare, parts))
    if isinstance(original, Gap):
        return CopyOutcome(evidence=replace(bare, gap=original))
    tree = sighting.tree(estate, copy.address)
    if isinstance(tree, Gap):
        absent = absent_tree(copy, tree, sighting, parts.work)
        if absent is not None:
            outcome = _judged_attempt(replace(bare, gap=tree), original, absent, parts)
            return replace(outcome, fetched=(SeenTree(address=copy.address, outcome=absent),))
        kept = earlier_tree(estate, bare.place, copy, tree, parts) or on_the_shelf(
            estate, copy, bare.place, tree, parts
        )
        if kept is None:
            return CopyOutcome(evidence=replace(bare, gap=tree, seen_before=last_seen(bare, parts)))
        bare, tree = replace(bare, place=kept.place, points=kept.points), kept.tree
        if isinstance(tree, Gap):
            return CopyOutcome(evidence=replace(bare, gap=tree))
    return _judged_attempt(bare, original, tree, parts)


def _judged_attempt(bare: CopyEvidence, original: OriginalTree, tree: Manifest, parts: Parts) -> CopyOutcome:
    """Compare the newest tree, and older points while the newer have holes; the first without one is judged."""
    first = _compare(original, bare, tree, parts)
    chosen, fetched, tried = first, list[SeenTree](), [first]
    if isinstance(bare.points, PointList) and _has_hole(first.comparison):
        for older in older_points(bare, first.address, parts):
            fetched.append(older)
            if isinstance(older.outcome, Gap):
                continue
            attempt = _compare(original, bare, older.outcome, parts)
            tried.append(attempt)
            if not _has_hole(attempt.comparison):
                chosen = attempt
                break
    evidence = replace(
        bare,
        comparison=chosen.comparison,
        tree_at=chosen.tree.origin.started,
        point=_point(bare.points, bare.copy, chosen.address),
        half_made=_half_made(bare, tried),
        left_out_before=parts.ledger.left_out(original.dataset.id, bare.copy.address, lineage_of(original.estate)),
    )
    compared = Compared(
        dataset=original.dataset.id,
        copy=bare.copy.address,
        original_file=original.tree.file,
        copy_file=chosen.tree.file,
        comparison=chosen.comparison,
    )
    return CopyOutcome(evidence=evidence, compared=compared, fetched=tuple(fetched))


def _compare(original: OriginalTree, bare: CopyEvidence, tree: Manifest, parts: Parts) -> _Attempt:
    copy = bare.copy
    patterns = patterns_of(original.estate.litter, original.dataset, copy)
    declared = [os.fsencode(volume.path) for volume in bare.place.device.volumes if volume.path]
    earlier = _earlier(original, bare, parts)
    matched = match(
        original.tree, tree, leave_out=patterns, work=parts.work, roots=declared, keeps_times=_keeps_times(earlier)
    )
    carried = partial(
        carry,
        replace(matched, fallen=original.fallen),
        now=parts.clock(),
        look=_look(original, parts) if original.fresh else None,
        max_age=copy.max_age or original.policy.max_age,
        work=parts.work,
    )
    comparison = _with_what_can_be_read(carried, earlier)
    told = worth_telling(comparison.left_out_by, original.estate.litter)
    mirror = original.fresh and copy.points is None
    leads = leading(matched, earlier.at if earlier else None, parts.work) if mirror else None
    comparison = replace(comparison, left_out_by=told, direction=leads)
    return _Attempt(tree=tree, address=tree.origin.address, comparison=comparison)


def _with_what_can_be_read(
    carried: Callable[[Earlier | None], CopyComparison], earlier: Earlier | None
) -> CopyComparison:
    """Carry over from earlier audits what their files still tell; what is damaged counts as lost, never as nothing."""
    if earlier is None:
        return carried(None)
    less = replace(earlier, relation=None)
    *first, last = (earlier, less, replace(less, originals=(), copy_manifest=None))
    for known in first:
        with suppress(ComparisonError, EvidenceError):
            return carried(known)
    return carried(last)


def _keeps_times(earlier: Earlier | None) -> bool:
    try:
        return keeps_times(earlier)
    except ComparisonError:
        return False  # what is damaged counts as lost


def _has_hole(comparison: CopyComparison) -> bool:
    """Whether a point is no whole state: it lacks something although it holds something newer, or lacks most."""
    missing = without(comparison.missing, comparison.held_back_missing)
    most = lacks_most(comparison.original, missing, comparison.under_old_name)
    return most or (comparison.counting_rows > 0 and comparison.holds_newer)


def _point(points: PointList | Gap | None, copy: Copy, at: Address) -> RecoveryPoint | None:
    if not isinstance(points, PointList):
        return None
    named = {copy.address.at_point(point.name): point for point in points.points}
    return named.get(at)


def _half_made(bare: CopyEvidence, tried: list[_Attempt]) -> tuple[str, ...]:
    points = (_point(bare.points, bare.copy, one.address) for one in tried if _has_hole(one.comparison))
    return tuple(point.name for point in points if point is not None)


def _earlier(original: OriginalTree, bare: CopyEvidence, parts: Parts) -> Earlier | None:
    known = parts.ledger.earlier(original.dataset.id, bare.copy.address, lineage_of(original.estate))
    if known is None:
        return None
    return Earlier(
        at=known.at,
        originals=known.originals,
        copy_manifest=known.copy_manifest,
        relation=known.relation,
        take_up=known.take_up,
        accepted=known.accepted,
    )


def _look(original: OriginalTree, parts: Parts) -> Look:
    def look(paths: tuple[bytes, ...]) -> tuple[SecondLook, ...]:
        return parts.look_again(original.device, original.tree.origin.root, paths)

    return look

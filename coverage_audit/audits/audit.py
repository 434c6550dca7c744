"""The audit: plan, ask, identify, compare, judge, record."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from coverage_audit.audits.attached import look_for_drives, recorded_of, said_of
from coverage_audit.audits.changing import changes_since_last
from coverage_audit.audits.comparing import CopyOutcome, OriginalTree, compare_copy
from coverage_audit.audits.exposing import exposure_of
from coverage_audit.audits.fallback import excused, place_then
from coverage_audit.audits.identifying import identify, new_pins
from coverage_audit.audits.parts import Parts
from coverage_audit.audits.planning import plan_audit
from coverage_audit.audits.rooms import Rooms, rooms_of, volumes_of
from coverage_audit.audits.sighting import Sighting, sight
from coverage_audit.audits.surveying import undeclared_of, with_surveys
from coverage_audit.audits.waiving import accepted
from coverage_audit.estate.former import lineage_of
from coverage_audit.estate.model import Address, Dataset, Estate
from coverage_audit.evidence.collected import Answer
from coverage_audit.evidence.facts import Gap, IdentityCheck
from coverage_audit.evidence.manifest import CompleteManifest, PartialManifest
from coverage_audit.judgement.case import DatasetCase, OriginalEvidence
from coverage_audit.judgement.judge import judge
from coverage_audit.judgement.verdict import JudgedEstate
from coverage_audit.ledger.record import AuditRecord, Recorded, SeenManifest


@dataclass(frozen=True, kw_only=True)
class Audited:
    """A finished audit: what was judged, and what the ledger says has changed by it."""

    judged: JudgedEstate
    recorded: Recorded


@dataclass(frozen=True, kw_only=True)
class _Case:
    """One dataset's case with the outcomes that the ledger is to keep."""

    case: DatasetCase
    outcomes: tuple[CopyOutcome, ...]


def run_audit(estate: Estate, wanted: Sequence[str], parts: Parts) -> Audited:
    """Audit the datasets named, or all when none is, and record what was found.

    Raises UsageError for an unknown dataset; EvidenceError, ComparisonError or LedgerError when the auditor's own
    machine fails (its disk is full, its ledger cannot be written). A box that fails is evidence that is missing.
    """
    started = parts.clock()
    plan = plan_audit(estate, wanted)
    answers = parts.gather(with_surveys(estate, plan.questions, parts) if plan.whole else plan.questions)
    drives = look_for_drives(estate, plan.datasets, answers, parts)
    answers = (*answers, *drives.answers)
    identities = {**identify(estate, answers, parts.ledger), **drives.twins}
    sighting = sight(answers, identities, parts.clock(), drives.attached)
    rooms = rooms_of(estate, plan.datasets, started, parts.ledger)
    cases = [_case(estate, dataset, sighting, rooms, parts) for dataset in plan.datasets]
    manifests = _manifests(answers, cases, sighting)
    shelf = recorded_of(drives, manifests)
    undeclared, surveys = undeclared_of(estate, plan.questions, answers, identities, parts)
    judged = judge(
        estate,
        [case.case for case in cases],
        identities=[check for check in identities.values() if isinstance(check, IdentityCheck)],
        gaps=_gaps(answers),
        started=started,
        finished=parts.clock(),
        whole=plan.whole,
        drives=said_of(drives, shelf, _gaps(drives.answers)),
        undeclared=undeclared if plan.whole else None,
        own=parts.own,
    )
    lineage = lineage_of(estate)
    under_waivers = accepted(judged, parts.ledger.waivers.standing(), lineage)
    judged = under_waivers.judged
    record = AuditRecord(
        judged=judged,
        estate_text=estate.text,
        answers=answers,
        pins=new_pins(identities),
        manifests=manifests,
        comparisons=tuple(o.compared for case in cases for o in case.outcomes if o.compared),
        lineage=lineage,
        changes=changes_since_last(estate, answers, parts.ledger),
        shelf=shelf,
        attached=drives.attached,
        detached=drives.detached,
        surveys=surveys,
        waivers=under_waivers.fates,
    )
    recorded = parts.ledger.record(record)
    parts.ledger.prune(judged.finished)
    return Audited(judged=judged, recorded=recorded)


def _case(estate: Estate, dataset: Dataset, sighting: Sighting, rooms: Rooms, parts: Parts) -> _Case:
    policy = estate.policy(dataset.policy)
    device = estate.device(dataset.original.volume.device)
    seen = sighting.tree(estate, dataset.original)
    earlier = parts.ledger.last_manifest(dataset.original, device.formerly, complete=True)
    place = sighting.place(estate, dataset.original)
    if isinstance(seen, Gap) and earlier is not None and excused(device, seen, earlier, parts):
        place = place_then(estate, place, parts)
    evidence = OriginalEvidence(
        place=place,
        tree=seen,
        as_of=earlier if isinstance(seen, Gap) else None,
        before=parts.ledger.proven_size(dataset.id, dataset.original.volume, lineage_of(estate)),
    )
    tree = earlier if isinstance(seen, Gap) and earlier is not None else seen
    original = (
        tree
        if isinstance(tree, Gap)
        else OriginalTree(estate=estate, dataset=dataset, policy=policy, device=device, tree=tree, fresh=tree is seen)
    )
    outcomes = tuple(compare_copy(estate, original, copy, sighting, parts) for copy in dataset.copies)
    copies = tuple(outcome.evidence for outcome in outcomes)
    case = DatasetCase(
        dataset=dataset,
        policy=policy,
        original=evidence,
        copies=copies,
        exposure=None if isinstance(tree, Gap) else exposure_of(dataset, evidence, tree, copies, estate, parts.work),
        rooms=tuple(rooms[volume] for volume in volumes_of(dataset)),
    )
    return _Case(case=case, outcomes=outcomes)


def _gaps(answers: Sequence[Answer]) -> list[Gap]:
    """All that was asked and not seen, in the order of the devices."""
    outcomes: list[object] = []
    for answer in answers:
        outcomes += [answer.facts, *answer.volumes]
        outcomes += [tree.outcome for tree in answer.trees]
        outcomes += [points.outcome for points in answer.points]
        outcomes += [whole.outcome for whole in answer.surveyed]
    return list(dict.fromkeys(outcome for outcome in outcomes if isinstance(outcome, Gap)))


def _manifests(answers: Sequence[Answer], cases: Sequence[_Case], sighting: Sighting) -> tuple[SeenManifest, ...]:
    """Every tree that was listed; a dated copy's under its address with `{point}`."""
    trees = [tree for answer in answers for tree in answer.trees]
    trees += [tree for case in cases for outcome in case.outcomes for tree in outcome.fetched]
    return tuple(
        SeenManifest(
            address=tree.point_of or tree.address,
            manifest=tree.outcome,
            trusted=_trusted(sighting, tree.address),
        )
        for tree in trees
        if isinstance(tree.outcome, CompleteManifest | PartialManifest)
    )


def _trusted(sighting: Sighting, address: Address) -> bool:
    check = sighting.identities.get(address.volume)
    return isinstance(check, IdentityCheck) and check.trusted

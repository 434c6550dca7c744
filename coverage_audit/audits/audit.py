"""The audit: plan, ask, identify, compare, judge, record."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from coverage_audit.audits.attached import look_for_drives, recorded_of, said_of
from coverage_audit.audits.casing import CaseOutcome, case_of
from coverage_audit.audits.changing import changes_since_last
from coverage_audit.audits.identifying import identify, new_pins
from coverage_audit.audits.parts import Parts
from coverage_audit.audits.planning import plan_audit
from coverage_audit.audits.rooms import rooms_of
from coverage_audit.audits.sighting import Sighting, sight
from coverage_audit.audits.surveying import undeclared_of, with_surveys
from coverage_audit.audits.verifying import NO_WISH, Wish, with_content
from coverage_audit.audits.waiving import accepted
from coverage_audit.audits.watching_places import records
from coverage_audit.estate.former import lineage_of
from coverage_audit.estate.model import Address, Estate
from coverage_audit.evidence.collected import Answer
from coverage_audit.evidence.facts import Gap, IdentityCheck
from coverage_audit.evidence.manifest import CompleteManifest, PartialManifest
from coverage_audit.judgement.judge import judge
from coverage_audit.judgement.verdict import JudgedEstate
from coverage_audit.ledger.record import AuditRecord, Recorded, SeenManifest


@dataclass(frozen=True, kw_only=True)
class Audited:
    """A finished audit: what was judged, and what the ledger says has changed by it."""

    judged: JudgedEstate
    recorded: Recorded


def run_audit(estate: Estate, wanted: Sequence[str], parts: Parts, wish: Wish = NO_WISH) -> Audited:
    """Audit the datasets named, or all when none is, and record what was found; `wish` is what content to read now.

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
    compared = [case_of(estate, dataset, sighting, rooms, parts) for dataset in plan.datasets]
    cases = with_content(estate, compared, parts, started=started, wish=wish)
    manifests = _manifests(answers, cases, sighting)
    shelf = recorded_of(drives, manifests)
    undeclared, surveys = undeclared_of(estate, plan.questions, answers, identities, parts)
    judged = judge(
        estate,
        [case.case for case in cases],
        identities=[check for check in identities.values() if isinstance(check, IdentityCheck)],
        gaps=[*_gaps(answers), *parts.ledger.digests.lost],
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
        turnovers=records((watching for case in cases for watching in case.watching), judged),
    )
    recorded = parts.ledger.record(record)
    parts.ledger.prune(judged.finished)
    parts.ledger.digests.prune(estate, judged.finished)
    return Audited(judged=judged, recorded=recorded)


def _gaps(answers: Sequence[Answer]) -> list[Gap]:
    """All that was asked and not seen, in the order of the devices."""
    outcomes: list[object] = []
    for answer in answers:
        outcomes += [answer.facts, *answer.volumes]
        outcomes += [tree.outcome for tree in answer.trees]
        outcomes += [points.outcome for points in answer.points]
        outcomes += [whole.outcome for whole in answer.surveyed]
    return list(dict.fromkeys(outcome for outcome in outcomes if isinstance(outcome, Gap)))


def _manifests(answers: Sequence[Answer], cases: Sequence[CaseOutcome], sighting: Sighting) -> tuple[SeenManifest, ...]:
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
    return isinstance(check, IdentityCheck) and check.trusted and sighting.served(address) is None

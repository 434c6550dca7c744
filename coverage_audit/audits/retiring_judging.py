"""The estate judged twice on one look: as it is, and without what leaves."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime

from coverage_audit.audits.attached import said_of
from coverage_audit.audits.casing import CaseOutcome, case_of
from coverage_audit.audits.parts import Parts
from coverage_audit.audits.retirement import AfterDataset
from coverage_audit.audits.retiring_content import content_after
from coverage_audit.audits.retiring_looking import Looked
from coverage_audit.audits.rooms import rooms_of
from coverage_audit.audits.verifying import with_content
from coverage_audit.audits.waiving import accepted
from coverage_audit.estate.former import lineage_of
from coverage_audit.estate.model import Address, DatasetId, Estate
from coverage_audit.evidence.facts import IdentityCheck
from coverage_audit.judgement.judge import judge
from coverage_audit.judgement.verdict import JudgedEstate
from coverage_audit.scenarios.retirement import Break, best_original, estate_without, what_breaks, without_original


@dataclass(frozen=True, kw_only=True)
class JudgedTwice:
    """What breaks, each dataset before and after, and all of the estate as it was judged before."""

    breaks: tuple[Break, ...]
    datasets: tuple[AfterDataset, ...]
    before: JudgedEstate


def judge_twice(
    estate: Estate, looked: Looked, named: Mapping[DatasetId, Address], started: datetime, parts: Parts
) -> JudgedTwice:
    """Judge the estate as it is and without what leaves, with what is known of content. Raises as an audit does."""
    cases = with_content(estate, _cases(estate, looked, started, parts), parts, started=started)
    before = _judged(estate, cases, looked, started, parts)
    originals = _originals(estate, looked, named, before)
    remaining = estate_without(estate, looked.leaving, originals)
    without = _cases(remaining, looked, started, parts)
    after = _judged(remaining, content_after(estate, remaining, cases, without, parts, started), looked, started, parts)
    touched = [dataset.id for dataset in estate.datasets if looked.leaving.touches(dataset) or dataset.id in named]
    breaks = (*without_original(estate, looked.leaving, originals), *what_breaks(before, after, touched))
    was = {one.id: one.conclusion for one in before.datasets}
    becomes = {one.id: one.conclusion for one in after.datasets}
    where = {one.id: one.original for one in remaining.datasets}
    return JudgedTwice(
        breaks=breaks,
        datasets=tuple(
            AfterDataset(
                dataset=dataset.id,
                touched=dataset.id in touched,
                before=was[dataset.id],
                after=becomes.get(dataset.id),
                original=where.get(dataset.id),
                moved=where.get(dataset.id) not in {None, dataset.original},
            )
            for dataset in estate.datasets
        ),
        before=before,
    )


def _originals(
    estate: Estate, looked: Looked, named: Mapping[DatasetId, Address], before: JudgedEstate
) -> dict[DatasetId, Address]:
    """Return where each dataset is worked on afterwards, if that is another place than now."""
    found = dict(named)
    judged = {one.id: one for one in before.datasets}
    for dataset in estate.datasets:
        if dataset.id not in found and looked.leaving.holds(dataset.original):
            best = best_original(dataset, judged[dataset.id].copies, looked.leaving)
            if best is not None:
                found[dataset.id] = best
    return found


def _cases(estate: Estate, looked: Looked, started: datetime, parts: Parts) -> tuple[CaseOutcome, ...]:
    rooms = rooms_of(estate, estate.datasets, started, parts.ledger)
    return tuple(case_of(estate, dataset, looked.sighting, rooms, parts) for dataset in estate.datasets)


def _judged(
    estate: Estate, cases: Iterable[CaseOutcome], looked: Looked, started: datetime, parts: Parts
) -> JudgedEstate:
    declared = {volume.key for device in estate.devices for volume in device.volumes}
    judged = judge(
        estate,
        [one.case for one in cases],
        identities=[
            check
            for check in looked.identities.values()
            if isinstance(check, IdentityCheck) and check.volume in declared
        ],
        gaps=(),
        started=started,
        finished=parts.clock(),
        drives=[drive for drive in said_of(looked.drives, (), ()) if drive.volume in declared],
        own=parts.own,
    )
    return accepted(judged, parts.ledger.waivers.standing(), lineage_of(estate)).judged

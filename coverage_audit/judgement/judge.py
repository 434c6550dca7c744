"""Judge: from the cases of an audit to its conclusions, by the rules of the catalogue and nothing else."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from itertools import chain

from coverage_audit.estate.model import DeviceId, Estate, VolumeKey
from coverage_audit.evidence.facts import DeviceFacts, Gap, IdentityCheck
from coverage_audit.evidence.own import OwnPlaces
from coverage_audit.evidence.shelf import DriveSeen
from coverage_audit.evidence.surveyed import Undeclared
from coverage_audit.judgement.about_pruning import going_next
from coverage_audit.judgement.case import DatasetCase
from coverage_audit.judgement.conclusions import conclude, conclude_estate, waived, worst
from coverage_audit.judgement.context import DatasetContext, EstateContext
from coverage_audit.judgement.descent import with_descent
from coverage_audit.judgement.feasibility import of_dataset
from coverage_audit.judgement.forecast import RoomForecast, forecasts_of
from coverage_audit.judgement.holding import holdings_of
from coverage_audit.judgement.rules.catalogue import COUNTING, EXPLAINING, OF_THE_ESTATE
from coverage_audit.judgement.standing import judge_copy, judge_original
from coverage_audit.judgement.troubles import with_troubles
from coverage_audit.judgement.verdict import Finding, JudgedDataset, JudgedEstate


@dataclass(frozen=True, kw_only=True)
class _Audit:
    """What is common to all datasets of one audit."""

    estate: Estate
    machines: dict[DeviceId, DeviceFacts]
    rooms: Mapping[VolumeKey, RoomForecast]
    started: datetime
    finished: datetime


def judge(  # noqa: PLR0913 - an audit is judged by all of this, and by nothing else
    estate: Estate,
    cases: Sequence[DatasetCase],
    *,
    identities: Sequence[IdentityCheck],
    gaps: Sequence[Gap],
    started: datetime,
    finished: datetime,
    whole: bool = True,
    drives: Sequence[DriveSeen] = (),
    undeclared: Undeclared | None = None,
    own: OwnPlaces | None = None,
) -> JudgedEstate:
    """Judge every dataset and the estate. `whole` is False where only some datasets were asked for.

    `drives` are the shelf drives that were found plugged in, `undeclared` what is known of what nobody declared,
    `own` where the auditor's own state lies.
    """
    rooms = forecasts_of(cases, finished)
    audit = _Audit(estate=estate, machines=_machines(cases), rooms=rooms, started=started, finished=finished)
    datasets = tuple(_judge_dataset(case, audit) for case in cases)
    context = EstateContext(
        estate=estate,
        cases=tuple(cases),
        devices=_devices(cases),
        identities=tuple(identities),
        started=started,
        finished=finished,
        whole=whole,
        drives=tuple(drives),
        undeclared=undeclared,
        own=own,
    )
    of_estate = tuple(finding for _, check in OF_THE_ESTATE for finding in check(context))
    return JudgedEstate(
        estate=estate.name,
        time_zone=estate.time_zone.key,
        started=started,
        finished=finished,
        rehearsal=estate.rehearsal,
        conclusion=conclude_estate((dataset.conclusion for dataset in datasets), of_estate),
        datasets=datasets,
        findings=of_estate,
        identities=tuple(identities),
        gaps=tuple(gaps),
        waived=waived(of_estate) + sum(dataset.waived for dataset in datasets),
        rooms=tuple(rooms.values()),
        whole=whole,
    )


def _judge_dataset(case: DatasetCase, audit: _Audit) -> JudgedDataset:
    original = judge_original(case.original, started=audit.started)
    by_itself = [
        judge_copy(copy, case, audit.estate, started=audit.started, finished=audit.finished) for copy in case.copies
    ]
    copies = with_descent(by_itself)
    context = DatasetContext(
        case=case,
        estate=audit.estate,
        original=original,
        copies=copies,
        holdings=holdings_of(
            case.dataset.original,
            original,
            copies,
            estate=audit.estate,
            machines=audit.machines,
            started=audit.started,
        ),
        started=audit.started,
        finished=audit.finished,
        rooms=audit.rooms,
        machines=audit.machines,
    )
    findings = with_troubles((*of_dataset(case.dataset, audit.estate), *findings_of(context)), context)
    return JudgedDataset(
        id=case.dataset.id,
        policy=case.policy.id,
        conclusion=conclude(findings),
        original=original,
        copies=copies,
        exposure=case.exposure,
        findings=findings,
        waived=waived(findings),
        going=going_next(context),
    )


def findings_of(context: DatasetContext) -> tuple[Finding, ...]:
    """Apply the rules that count, then those that explain, which ask how far each copy is needed."""
    counted = [finding for _, check in COUNTING for finding in check(context)]
    decided = replace(context, decided=worst(finding.answer for finding in counted))
    return (*counted, *(finding for _, check in EXPLAINING for finding in check(decided)))


def _devices(cases: Sequence[DatasetCase]) -> dict[DeviceId, DeviceFacts | Gap]:
    """Gather what the devices showed; where places of one device know different things, the least assuring."""
    found: dict[DeviceId, DeviceFacts | Gap] = {}
    for place in chain.from_iterable(case.places for case in cases):
        known = found.get(place.device.id)
        if known is None or _assurance(place.device_facts) < _assurance(known):
            found[place.device.id] = place.device_facts
    return found


def _assurance(facts: DeviceFacts | Gap) -> tuple[int, timedelta]:
    if isinstance(facts, Gap):
        return 0, timedelta(0)
    return (1, timedelta(0)) if facts.clock_offset is None else (2, -abs(facts.clock_offset))


def _machines(cases: Iterable[DatasetCase]) -> dict[DeviceId, DeviceFacts]:
    """Gather the facts of all devices, also of those that another place did not see."""
    return {
        place.device.id: place.device_facts
        for case in cases
        for place in case.places
        if isinstance(place.device_facts, DeviceFacts)
    }

"""The survey: walk whole volumes, tell apart by whose it is what lies there, remember what nobody claims."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from typing import Final

from coverage_audit.audits.identifying import identify
from coverage_audit.audits.parts import Parts
from coverage_audit.comparison.declared import declared_on
from coverage_audit.comparison.folder_sizes import folder_sizes
from coverage_audit.errors import UsageError
from coverage_audit.estate.access import ShelfAccess
from coverage_audit.estate.model import Address, Device, DeviceId, Estate, Volume, VolumeKey
from coverage_audit.estate.spelling import nearest
from coverage_audit.evidence.collected import Answer, Question
from coverage_audit.evidence.facts import DeviceFacts, Gap, GapKind, IdentityCheck, VolumeFacts
from coverage_audit.evidence.manifest import Manifest
from coverage_audit.evidence.surveyed import (
    SurveySummary,
    Undeclared,
    UndeclaredFilesystem,
    VolumeLook,
    VolumeSurvey,
)
from coverage_audit.ledger.ledger import Ledger
from coverage_audit.reckoning.folder_tree import summary_of
from coverage_audit.reckoning.undeclared import undeclared_filesystems

_EARLY: Final = timedelta(hours=12)
"""A survey is due that much earlier than it must be, so that a night that begins early makes it."""

Identities = Mapping[VolumeKey, IdentityCheck | Gap]


@dataclass(frozen=True, kw_only=True)
class Surveyed:
    """What a survey found. `unseen` says of a device why its filesystems could not be listed."""

    surveys: tuple[VolumeSurvey, ...]
    gaps: tuple[Gap, ...]
    filesystems: tuple[UndeclaredFilesystem, ...]
    unseen: tuple[tuple[DeviceId, str], ...]


def run_survey(estate: Estate, wanted: str | None, parts: Parts) -> Surveyed:
    """Survey the device named, or all, now, and remember what was found.

    Raises UsageError for an unknown device; EvidenceError, ComparisonError or LedgerError as an audit does.
    """
    devices = _devices(estate, wanted)
    questions = tuple(
        Question(
            device=device,
            volumes=device.volumes,
            trees=(),
            surveyed=tuple(_whole(volume) for volume in device.volumes),
        )
        for device in devices
        if not isinstance(device.access, ShelfAccess)
    )
    answers = parts.gather(questions)
    identities = identify(estate, answers, parts.ledger)
    surveys, gaps = surveys_of(estate, answers, identities, parts.clock())
    shelf = tuple(survey for device in devices for survey in _of_shelf(estate, device, parts.ledger))
    parts.ledger.record_surveys([summary_of(survey) for survey in surveys])
    return Surveyed(
        surveys=(*surveys, *shelf),
        gaps=tuple(gaps.values()),
        filesystems=filesystems_of(estate, answers, parts.ledger),
        unseen=tuple(_unseen(answers)),
    )


def with_surveys(estate: Estate, questions: Sequence[Question], parts: Parts) -> tuple[Question, ...]:
    """Add to an audit's questions the volumes whose survey is due."""
    now = parts.clock()
    return tuple(
        replace(
            question,
            surveyed=tuple(_whole(volume) for volume in question.volumes if _is_due(estate, volume, parts.ledger, now)),
        )
        for question in questions
    )


def undeclared_of(
    estate: Estate, questions: Sequence[Question], answers: Sequence[Answer], identities: Identities, parts: Parts
) -> tuple[Undeclared, tuple[SurveySummary, ...]]:
    """Return what an audit knows of what nobody declared, and the surveys that it made itself."""
    surveys, gaps = surveys_of(estate, answers, identities, parts.clock())
    made = {survey.volume: summary_of(survey) for survey in surveys}
    asked = {question.device.id for question in questions}
    looks = [
        VolumeLook(
            volume=volume.key,
            survey=made.get(volume.key) or parts.ledger.last_survey(volume.key, device.formerly),
            gap=gaps.get(volume.key),
        )
        for device in estate.devices
        if device.id in asked
        for volume in device.volumes
    ]
    for device in estate.devices:
        looks += [
            VolumeLook(volume=survey.volume, survey=summary_of(survey), attached=False)
            for survey in _of_shelf(estate, device, parts.ledger)
        ]
    found = Undeclared(looks=tuple(looks), filesystems=filesystems_of(estate, answers, parts.ledger))
    return found, tuple(made.values())


def surveys_of(
    estate: Estate, answers: Iterable[Answer], identities: Identities, now: datetime
) -> tuple[tuple[VolumeSurvey, ...], dict[VolumeKey, Gap]]:
    """Add up every volume that was walked whole and is the one pinned; of the others say why not."""
    surveys: list[VolumeSurvey] = []
    gaps: dict[VolumeKey, Gap] = {}
    for tree in (tree for answer in answers for tree in answer.surveyed):
        key = tree.address.volume
        outcome = _doubt(identities.get(key), key, now) or tree.outcome
        if isinstance(outcome, Gap):
            gaps[key] = outcome
        else:
            surveys.append(_survey(estate, estate.volume(key), outcome))
    return tuple(surveys), gaps


def filesystems_of(estate: Estate, answers: Iterable[Answer], ledger: Ledger) -> tuple[UndeclaredFilesystem, ...]:
    """Return what the devices that answered have mounted and no volume declares."""
    known = _known_uuids(estate, ledger)
    return tuple(
        filesystem
        for answer in answers
        if isinstance(answer.facts, DeviceFacts)
        for filesystem in undeclared_filesystems(
            answer.device,
            answer.facts.filesystems,
            {facts.volume: facts for facts in answer.volumes if isinstance(facts, VolumeFacts)},
            known,
        )
    )


def _devices(estate: Estate, wanted: str | None) -> tuple[Device, ...]:
    if wanted is None:
        return estate.devices
    try:
        return (estate.device(DeviceId(wanted)),)
    except KeyError:
        known = [device.id for device in estate.devices]
        guess = nearest(wanted, known)
        hint = f"did you mean '{guess}'?" if guess else f"the estate has: {', '.join(known)}"
        raise UsageError(f"there is no device '{wanted}' in the estate; {hint}") from None


def _whole(volume: Volume) -> Address:
    return Address(volume=volume.key, path="")


def _is_due(estate: Estate, volume: Volume, ledger: Ledger, now: datetime) -> bool:
    last = ledger.last_survey(volume.key, estate.device(volume.key.device).formerly)
    every = estate.limits.survey_every
    if last is None or now - last.at >= every - min(_EARLY, every / 4):
        return True
    return last.declared != declared_on(estate, volume).mark


def _survey(estate: Estate, volume: Volume, manifest: Manifest) -> VolumeSurvey:
    declared = declared_on(estate, volume)
    sizes = folder_sizes(manifest, declared, estate.limits.survey_depth)
    return VolumeSurvey(
        volume=volume.key,
        at=manifest.origin.started,
        declared=declared.mark,
        depth=sizes.depth,
        cells=sizes.cells,
        blind=sizes.blind,
    )


def _of_shelf(estate: Estate, device: Device, ledger: Ledger) -> Iterable[VolumeSurvey]:
    """Add up the volumes of a shelf drive of which a manifest of the whole volume is recorded."""
    if not isinstance(device.access, ShelfAccess):
        return
    for tree in ledger.shelf_trees(device.id, device.formerly):
        if not tree.address.path:
            yield _survey(estate, estate.volume(tree.address.volume), tree.manifest)


def _doubt(check: IdentityCheck | Gap | None, key: VolumeKey, now: datetime) -> Gap | None:
    if check is None:
        return Gap(subject=str(key), kind=GapKind.ANOTHER_VOLUME, detail="the volume was not shown", at=now)
    if isinstance(check, Gap):
        return check
    if check.trusted:
        return None
    return Gap(subject=str(key), kind=GapKind.ANOTHER_VOLUME, detail="; ".join(check.differences), at=now)


def _known_uuids(estate: Estate, ledger: Ledger) -> frozenset[str]:
    found = set()
    for device in estate.devices:
        for volume in device.volumes:
            if volume.identity is not None and volume.identity.filesystem_uuid:
                found.add(volume.identity.filesystem_uuid)
            pins = ledger.pins(volume.key, device.formerly) or ()
            found |= {pin.value for pin in pins if pin.name == "filesystem_uuid"}
    return frozenset(found)


def _unseen(answers: Iterable[Answer]) -> Iterable[tuple[DeviceId, str]]:
    for answer in answers:
        if isinstance(answer.facts, Gap):
            yield answer.device.id, str(answer.facts)
        elif answer.facts.filesystems_unseen:
            yield answer.device.id, answer.facts.filesystems_unseen

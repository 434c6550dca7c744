"""A year of the invented station: what the ledger would look back on, with its good months and its bad weeks.

Nothing is drawn by lot: every test sees the same year.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime, timedelta

from coverage_audit.estate.changes import ChangeKind, Detail, EstateChange
from coverage_audit.estate.declared import Part
from coverage_audit.estate.model import DatasetId, Device, Estate
from coverage_audit.evidence.room import RoomDay
from coverage_audit.judgement.forecast import RoomForecast
from coverage_audit.judgement.verdict import Acceptance, Answer, Conclusion, JudgedDataset, JudgedEstate
from coverage_audit.ledger.past_record import (
    AuditDay,
    DatasetDay,
    Incident,
    LookBack,
    NightOutcome,
    NightRecord,
    VolumeDay,
)
from coverage_audit.ledger.record import EstateEvent
from coverage_audit.reckoning.filling import filling
from coverage_audit.reckoning.room import Shown, readings_of
from tests.builders.judged import DUBLIN, NOW, a_finding, an_estate, an_item, renamed
from tests.builders.judged_station import the_station

DAY = timedelta(days=1)
WEEK_FROM = NOW - 7 * DAY
FIRST = NOW.date() - 338 * DAY
"""The ledger of the station does not reach back a whole year."""
OFF = frozenset(date(2026, 8, number) for number in (14, 15, 16))
FAILED = frozenset({date(2026, 3, 9), NOW.date() - 4 * DAY})
_TB = 10**12
_GB = 10**9


@dataclass(frozen=True, kw_only=True)
class Year:
    """All that a weekly page is made of."""

    judged: JudgedEstate
    estate: Estate
    back: LookBack
    since: dict[str, datetime]


def a_year_of_the_station() -> Year:
    judged, estate, since = the_station()
    judged = replace(judged, datasets=tuple(_waived_for_a_while(each) for each in judged.datasets))
    estate = replace(estate, devices=tuple(_aged(device) for device in estate.devices))
    since = {name: NOW - _open_for(name) for name in since}
    judged = replace(judged, rooms=tuple(_rooms(estate)))
    back = LookBack(
        since=NOW - 365 * DAY,
        until=NOW,
        audits=tuple(_audits(judged)),
        nights=tuple(_nights()),
        datasets=tuple(row for night in nights() for row in _datasets(judged, night)),
        volumes=tuple(row for night in nights() for row in _volumes(estate, night)),
        incidents=tuple(_incidents(judged, since)),
        events=tuple(_events()),
    )
    return Year(judged=judged, estate=estate, back=back, since=since)


def a_large_year() -> Year:
    """Three hundred datasets with five thousand findings, a quarter of them in trouble, and a year of each."""
    year = a_year_of_the_station()
    datasets, days = [], []
    for number in range(25):
        for dataset in year.judged.datasets:
            name = f"{dataset.id}-{number:02}"
            more = tuple(
                a_finding(
                    f"rule-{count:02}",
                    name,
                    Answer.CONFORMITY if count % 3 else dataset.findings[0].answer,
                    message=f"{name} holds what rule {count} asks for.",
                    evidence=(an_item(),),
                )
                for count in range(17 - len(dataset.findings))
            )
            datasets.append(replace(renamed(dataset, name), findings=(*dataset.findings, *more)))
        days += [replace(day, dataset=type(day.dataset)(f"{day.dataset}-{number:02}")) for day in year.back.datasets]
    estate = replace(an_estate(tuple(datasets)), devices=year.estate.devices)
    return replace(
        year,
        judged=replace(year.judged, datasets=tuple(datasets)),
        estate=estate,
        back=replace(year.back, datasets=tuple(days)),
    )


def nights() -> Iterator[date]:
    """Yield the nights that had an audit."""
    for number in range((NOW.date() - FIRST).days + 1):
        night = FIRST + number * DAY
        if night not in OFF | FAILED:
            yield night


def began(night: date) -> datetime:
    return datetime(night.year, night.month, night.day, 4, 10, tzinfo=DUBLIN).astimezone(UTC)


def _open_for(name: str) -> timedelta:
    if "herbarium" in name:
        return 11 * DAY
    return 3 * DAY if "curlew" in name or "camera" in name or "nest" in name else 40 * DAY


def _waived_for_a_while(dataset: JudgedDataset) -> JudgedDataset:
    acceptance = Acceptance(
        who="R. Byrne",
        why="the new shelf drive is ordered",
        given=NOW - 3 * DAY,
        until=NOW + 18 * DAY,
        answer=Answer.NONCONFORMITY,
    )
    findings = tuple(
        replace(each, acceptance=acceptance) if each.answer is Answer.WAIVED else each for each in dataset.findings
    )
    return replace(dataset, findings=findings)


def _aged(device: Device) -> Device:
    begun = {"kestrel": date(2019, 3, 2), "heron": date(2023, 6, 20), "curlew": date(2021, 12, 12)}
    return replace(device, in_service=begun.get(device.id))


def _ago(night: date) -> int:
    return (NOW.date() - night).days


def concluded(name: str, night: date) -> Conclusion:
    """What the audit of a night says of a dataset."""
    ago = _ago(night)
    if name == "herbarium-scans" and (ago <= 11 or 190 < ago <= 214):
        return Conclusion.NONCONFORMING
    if name == "station-ledger" and (ago <= 40 or 300 < ago < 309):
        return Conclusion.NONCONFORMING
    if name in {"camera-trap", "nest-boxes"} and (ago <= 3 or 95 < ago < 101 or 160 < ago < 163):
        return Conclusion.UNVERIFIED
    if name == "weather-log" and (ago <= 2 or 250 < ago < 254):
        return Conclusion.UNVERIFIED
    return Conclusion.CONFORMING


def _audits(judged: JudgedEstate) -> Iterator[AuditDay]:
    worst = (Conclusion.NONCONFORMING, Conclusion.UNVERIFIED, Conclusion.CONFORMING)
    for night in nights():
        found = min((concluded(each.id, night) for each in judged.datasets), key=worst.index)
        begun = began(night)
        yield AuditDay(
            started=begun, finished=begun + timedelta(minutes=21), conclusion=found, whole=True, rehearsal=False
        )


def _nights() -> Iterator[NightRecord]:
    for number in range(_ago(FIRST) + 1):
        night = FIRST + number * DAY
        if night in OFF:
            continue
        begun = began(night)
        failed = night in FAILED
        yield NightRecord(
            night=night,
            started=begun,
            finished=begun + timedelta(minutes=22),
            outcome=NightOutcome.FAILED if failed else NightOutcome.AUDITED,
            detail="No space left on device" if failed else "",
            missed=3 if night - DAY in OFF else 0,
            missed_since=min(OFF) if night - DAY in OFF else None,
        )


def _datasets(judged: JudgedEstate, night: date) -> Iterator[DatasetDay]:
    ago = _ago(night)
    for place, dataset in enumerate(judged.datasets):
        conclusion = concluded(dataset.id, night)
        if dataset.id == "maps" and ago > 120:
            continue  # declared in the summer
        exposed = 0
        if dataset.id == "herbarium-scans" and conclusion is not Conclusion.CONFORMING:
            exposed = (12 - ago) * 280 * 10**6 if ago <= 11 else (ago - 190) * 60 * 10**6
        unknown = conclusion is Conclusion.UNVERIFIED
        size = 212 * _GB - ago * (1 + place % 4) * 90 * 10**6
        if dataset.id == "field-recordings":
            size -= 30 * _GB * (ago > 150)
        yield DatasetDay(
            dataset=dataset.id,
            at=began(night),
            conclusion=conclusion,
            files=None if dataset.id == "weather-log" and unknown else 18_204 - 9 * ago,
            bytes=None if dataset.id == "weather-log" and unknown else size,
            exposed_files=None if unknown else exposed // 2_900_000,
            exposed_bytes=None if unknown else exposed,
            exposed_since=None,
        )


def _volumes(estate: Estate, night: date) -> Iterator[VolumeDay]:
    ago = _ago(night)
    for device in estate.devices:
        name = device.id
        if (name == "curlew" and concluded("camera-trap", night) is Conclusion.UNVERIFIED) or name == "shelf-b":
            continue
        capacity = 8 * _TB if name != "heron" or ago <= 60 else 4 * _TB
        free = {"kestrel": 620 * _GB + ago * 4 * _GB, "curlew": 2_900 * _GB + ago * _GB}.get(
            name, 3_900 * _GB + ago * 3 * _GB if ago <= 60 else 90 * _GB + (ago - 60) * 3 * _GB
        )
        yield VolumeDay(volume=device.volumes[0].key, at=began(night), capacity=capacity, free=free)


def _rooms(estate: Estate) -> Iterator[RoomForecast]:
    """Look ahead by the same readings: kestrel fills, and heron after its larger drives came."""
    for device in estate.devices:
        volume = device.volumes[0].key
        seen = [row for night in nights() for row in _volumes(estate, night) if row.volume == volume]
        if seen:
            shown = [Shown(at=row.at, size=row.capacity or 0, free=row.free or 0) for row in seen]
            yield RoomForecast(
                volume=volume,
                last=RoomDay(at=seen[-1].at, capacity=seen[-1].capacity, free=seen[-1].free),
                known_since=seen[0].at,
                days=len(seen),
                bytes=filling(*readings_of(shown)),
                inodes=None,
            )


def _incidents(judged: JudgedEstate, since: dict[str, datetime]) -> Iterator[Incident]:
    for dataset in judged.datasets:
        for finding in dataset.findings:
            if finding.answer in {Answer.NONCONFORMITY, Answer.UNVERIFIED}:
                yield Incident(
                    finding=finding, dataset=dataset.id, began=since[finding.id], ended=None, worst=finding.answer
                )
    stale = a_finding(
        "age",
        "moth-plates@heron:pool/mirror/moth-plates",
        message="The copy on heron stands where it stood 4 days ago.",
        measured="4 days",
        required="26 h",
    )
    yield Incident(
        finding=stale,
        dataset=DatasetId("moth-plates"),
        began=NOW - 9 * DAY,
        ended=NOW - 5 * DAY,
        worst=Answer.NONCONFORMITY,
        ended_as=Answer.CONFORMITY,
    )
    behind = a_finding("clocks", "curlew", message="The clock of curlew is 7 min behind the auditor's.")
    yield Incident(
        finding=behind,
        dataset=None,
        began=NOW - 6 * DAY,
        ended=NOW - 2 * DAY,
        worst=Answer.UNVERIFIED,
        ended_as=Answer.OBSERVATION,
    )


def _events() -> Iterator[EstateEvent]:
    yield EstateEvent(
        at=NOW - 60 * DAY,
        change=EstateChange(
            kind=ChangeKind.CHANGED,
            part=Part.VOLUME,
            name="heron:pool",
            details=(Detail(what="capacity", before="4 TB", now="8 TB"),),
        ),
    )
    yield EstateEvent(
        at=NOW - 3 * DAY,
        change=EstateChange(
            kind=ChangeKind.SWAPPED,
            part=Part.VOLUME,
            name="curlew:store",
            details=(Detail(what="filesystem uuid", before="6c2e41d0", now="9f01b7aa"),),
            who="R. Byrne",
        ),
    )
    yield EstateEvent(at=NOW - 2 * DAY, change=EstateChange(kind=ChangeKind.CAME, part=Part.DATASET, name="letters"))

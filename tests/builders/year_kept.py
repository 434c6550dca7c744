"""A year in a ledger: nights of a small station through which a box is renamed, a drive swapped, datasets come and go.

What happens, by the local date of the night that sees it:

    2025-11-27  the first night
    2026-01-15  heron is called bittern and stands at the barn
    2026-02-01  field-recordings fails, until the night of 2026-02-11: ten nights
    2026-03-10  the drive KES-1 of kestrel:main gives way to KES-9, twice as large, accepted by Aoife
    2026-03-28  herbarium is unverified, until the night of 2026-03-30: two nights, and clocks go forward on the 29th
    2026-04-01  tapes is declared; `careful` asks for more, `plain` for less
    2026-06-10  three nights without the auditor
    2026-07-01  old-maps ends, and the box curlew with it
    2026-08-01  the audit fails
    2026-10-25  clocks go back; a second audit at 23:00
    2026-11-26  the last night: 365 days in all
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from datetime import UTC, date, datetime, time, timedelta
from functools import cache
from pathlib import Path
from typing import Final
from zoneinfo import ZoneInfo

from coverage_audit.estate.changes import EstateChange, capacity_changes, diff
from coverage_audit.estate.former import lineage_of
from coverage_audit.estate.model import DatasetId, DeviceId, Estate, VolumeId, VolumeKey
from coverage_audit.estate.reader import estate_of
from coverage_audit.evidence.collected import Answer as BoxAnswer
from coverage_audit.evidence.facts import PinnedFact, VolumeFacts
from coverage_audit.judgement.verdict import Answer, Conclusion, Finding, JudgedDataset, JudgedEstate
from coverage_audit.ledger.ledger import Ledger
from coverage_audit.ledger.past_record import NightOutcome
from coverage_audit.ledger.record import AuditRecord
from tests.builders.judged import a_dataset, a_manifest, address
from tests.builders.recorded import a_box_answer, a_finding, concluded

DUBLIN: Final = ZoneInfo("Europe/Dublin")
FIRST, LAST = date(2025, 11, 27), date(2026, 11, 26)
DAY: Final = timedelta(days=1)
GB, TB = 10**9, 10**12
MISSED: Final = frozenset(date(2026, 6, day) for day in (10, 11, 12))
FAILED: Final = date(2026, 8, 1)
NOW: Final = datetime(2026, 11, 26, 9, 0, tzinfo=UTC)

_HEAD: Final = """\
estate: Saltreach Field Station
time_zone: Europe/Dublin
schedule: {audit: "04:10"}
sites: {station: {name: Field station}, barn: {name: Long Barn}}
"""
_DEVICE: Final = (
    "  {name}: {{site: {site}, {more}access: {{ssh: a@{name}.example}},"
    " volumes: {{{volume}: {{path: /srv/{volume}, medium: hdd}}}}}}\n"
)
_DATASET: Final = "  {name}: {{policy: {policy}, original: 'kestrel:main/{name}', copies: [{{at: '{copy}/{name}'}}]}}\n"


def text_of(day: date) -> str:
    """The estate file as it stood in a night."""
    renamed, tightened, smaller = day >= date(2026, 1, 15), day >= date(2026, 4, 1), day >= date(2026, 7, 1)
    heron = "bittern" if renamed else "heron"
    devices = _DEVICE.format(name="kestrel", site="station", more="", volume="main")
    devices += _DEVICE.format(
        name=heron,
        site="barn" if renamed else "station",
        more="formerly: [heron], " if renamed else "",
        volume="pool",
    )
    if not smaller:
        devices += _DEVICE.format(name="curlew", site="barn", more="", volume="store")
    policies = f"  careful: {{copies: 2, offsite: 1, max_age: {'12h' if tightened else '26h'}}}\n"
    policies += f"  plain: {{copies: 2, max_age: {'7d' if tightened else '3d'}}}\n"
    datasets = _DATASET.format(name="field-recordings", policy="careful", copy=f"{heron}:pool")
    datasets += _DATASET.format(name="herbarium", policy="plain", copy=f"{heron}:pool")
    if tightened:
        datasets += _DATASET.format(name="tapes", policy="plain", copy=f"{heron}:pool")
    if not smaller:
        datasets += _DATASET.format(name="old-maps", policy="plain", copy="curlew:store")
    return f"{_HEAD}devices:\n{devices}policies:\n{policies}datasets:\n{datasets}"


def estate_at(day: date) -> Estate:
    """The estate as it stood in a night."""
    return _read(text_of(day))


@cache
def _read(text: str) -> Estate:
    return estate_of(text, Path("estate.yaml"))


def night(day: date, at: time = time(4, 10)) -> datetime:
    """The instant at which a night's audit begins."""
    return datetime.combine(day, at, DUBLIN).astimezone(UTC)


def nights() -> Iterable[date]:
    """Every local date of the year."""
    return (FIRST + number * DAY for number in range((LAST - FIRST).days + 1))


def keep_the_year(ledger: Ledger) -> None:
    """Record all of it."""
    before: Estate | None = None
    for day in nights():
        if day in MISSED:
            continue
        if day == FAILED:
            _note(ledger, day, NightOutcome.FAILED, None, "the disk was full")
            continue
        if day == date(2026, 3, 10):
            _accept(ledger, night(day) - timedelta(hours=9))
        estate = estate_at(day)
        changes: tuple[EstateChange, ...] = () if before is None else diff(before, estate)
        if day == date(2026, 3, 10):
            main = volume("kestrel", "main")
            changes += capacity_changes({main: 4 * TB}, {main: 8 * TB})
        done = ledger.record(_record(day, night(day), estate, changes))
        if day == max(MISSED) + DAY:  # of the others the audit itself tells
            _note(ledger, day, NightOutcome.AUDITED, done.audit)
        if day == date(2026, 10, 25):
            ledger.record(_record(day, night(day, time(23, 0)), estate, ()))
        before = estate


def volume(device: str, name: str) -> VolumeKey:
    return VolumeKey(device=DeviceId(device), volume=VolumeId(name))


def _record(day: date, at: datetime, estate: Estate, changes: tuple[EstateChange, ...]) -> AuditRecord:
    datasets = tuple(_dataset(dataset.id, day, at) for dataset in estate.datasets)
    worst = concluded([finding for dataset in datasets for finding in dataset.findings])
    judged = JudgedEstate(
        estate=estate.name,
        time_zone="Europe/Dublin",
        started=at,
        finished=at + timedelta(minutes=20),
        rehearsal=False,
        conclusion=worst,
        datasets=datasets,
        findings=(),
        whole=True,
    )
    answers = tuple(_answer(device.id, day, at) for device in estate.devices)
    record = AuditRecord(
        judged=judged, estate_text=estate.text, answers=answers, changes=changes, lineage=lineage_of(estate)
    )
    return replace(record, pins=((volume("kestrel", "main"), _pins("KES-1", "uuid-old")),)) if day == FIRST else record


def _dataset(name: DatasetId, day: date, at: datetime) -> JudgedDataset:
    number = (day - FIRST).days
    answer = Answer.CONFORMITY
    if name == "field-recordings" and date(2026, 2, 1) <= day < date(2026, 2, 11):
        answer = Answer.NONCONFORMITY
    if name == "herbarium" and date(2026, 3, 28) <= day < date(2026, 3, 30):
        answer = Answer.UNVERIFIED
    finding: Finding = a_finding(f"enough-copies:{name}", answer, message=f"1 of 2 copies of {name} is proven.")
    files, size = {"field-recordings": (1000 + number, 100 * GB + number * GB // 2), "tapes": (70, 7 * GB)}.get(
        name, (500, 50 * GB)
    )
    tree = a_manifest(address("kestrel", name), files, size)
    seen = replace(tree, origin=replace(tree.origin, started=at, finished=at))
    conclusion = {Answer.NONCONFORMITY: Conclusion.NONCONFORMING, Answer.UNVERIFIED: Conclusion.UNVERIFIED}
    return a_dataset(name, (), conclusion=conclusion.get(answer, Conclusion.CONFORMING), findings=(finding,), tree=seen)


def _answer(device: str, day: date, at: datetime) -> BoxAnswer:
    swapped = day >= date(2026, 3, 10)
    name, drives, capacity, free = {
        "kestrel": ("main", {"KES-9" if swapped else "KES-1"}, (8 if swapped else 4) * TB, 1 * TB),
        "heron": ("pool", {"HER-1", "HER-2"}, 10 * TB, 4 * TB),
        "bittern": ("pool", {"HER-1", "HER-2"}, 10 * TB, 4 * TB),
        "curlew": ("store", {"CUR-1"}, 2 * TB, 1 * TB),
    }[device]
    answer = a_box_answer(volume(device, name), at, capacity=capacity, free=free)
    (facts,) = answer.volumes
    assert isinstance(facts, VolumeFacts)
    uuid = {"kestrel": "uuid-new" if swapped else "uuid-old"}.get(device, f"uuid-of-{name}")
    return replace(answer, volumes=(replace(facts, drives=frozenset(drives), filesystem_uuid=uuid),))


def _accept(ledger: Ledger, at: datetime) -> None:
    ledger.accept(volume("kestrel", "main"), _pins("KES-9", "uuid-new"), at, "Aoife")


def _pins(drive: str, uuid: str) -> tuple[PinnedFact, ...]:
    return (PinnedFact(name="drive", value=drive), PinnedFact(name="filesystem_uuid", value=uuid))


def _note(ledger: Ledger, day: date, outcome: NightOutcome, audit: int | None, detail: str = "") -> None:
    missed = 3 if day == max(MISSED) + DAY else 0
    ledger.nights.begin(day, night(day), missed=missed, missed_since=min(MISSED) if missed else None)
    ledger.nights.end(day, night(day), outcome, detail, audit)

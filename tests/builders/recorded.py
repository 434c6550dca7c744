"""Audits as they are recorded: judged estates of a few findings, and what the boxes showed."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from datetime import UTC, datetime, timedelta

from coverage_audit.estate.access import LocalAccess
from coverage_audit.estate.model import (
    Address,
    DatasetId,
    Device,
    DeviceId,
    Medium,
    Proof,
    SiteId,
    Volume,
    VolumeId,
    VolumeKey,
)
from coverage_audit.evidence.collected import Answer as BoxAnswer
from coverage_audit.evidence.facts import DeviceFacts, Gap, GapKind, VolumeFacts
from coverage_audit.judgement.case import OriginalEvidence, PlaceEvidence
from coverage_audit.judgement.verdict import (
    Answer,
    Conclusion,
    Finding,
    JudgedDataset,
    JudgedEstate,
    JudgedOriginal,
    Standing,
)

FIRST = datetime(2026, 11, 1, 4, 10, tzinfo=UTC)
ESTATE_TEXT = "estate: Saltreach Field Station\n"
KESTREL = VolumeKey(device=DeviceId("kestrel"), volume=VolumeId("main"))
HERON = VolumeKey(device=DeviceId("heron"), volume=VolumeId("pool"))
ORIGINAL = Address(volume=KESTREL, path="recordings")
COPY = Address(volume=HERON, path="mirror/recordings")
RECORDINGS = DatasetId("field-recordings")


def night(number: int) -> datetime:
    """The start of the audit of the nth night."""
    return FIRST + timedelta(days=number)


def a_device(key: VolumeKey = KESTREL) -> Device:
    volume = Volume(key=key, path="/srv/main", medium=Medium.HDD)
    return Device(id=key.device, site=SiteId("station"), access=LocalAccess(), volumes=(volume,))


def a_finding(name: str = "copies:field-recordings", answer: Answer = Answer.NONCONFORMITY, **words: str) -> Finding:
    """A finding of the id `rule:subject`."""
    rule, subject = name.split(":", 1)
    usual = {"measured": "1", "required": "3", "message": "one copy is proven", "mend": "mend it"}
    return Finding(rule=rule, subject=subject, answer=answer, **{**usual, **words})  # type: ignore[arg-type]  # words


def an_original(key: VolumeKey, at: datetime) -> JudgedOriginal:
    device = a_device(key)
    gap = Gap(subject=str(key), kind=GapKind.UNREACHABLE, detail="", at=at)
    place = PlaceEvidence(device=device, volume=device.volumes[0], device_facts=gap, volume_facts=gap, identity=gap)
    evidence = OriginalEvidence(place=place, tree=gap)
    return JudgedOriginal(standing=Standing.UNVERIFIED, reason="not seen", evidence=evidence, proof=Proof.DECLARED)


def a_judged_dataset(name: str, findings: Iterable[Finding], at: datetime) -> JudgedDataset:
    """A dataset whose conclusion is that of its worst finding."""
    listed = tuple(findings)
    return JudgedDataset(
        id=DatasetId(name),
        policy="irreplaceable",
        conclusion=concluded(listed),
        original=an_original(KESTREL, at),
        copies=(),
        exposure=None,
        findings=listed,
    )


def concluded(findings: Iterable[Finding]) -> Conclusion:
    answers = {finding.answer for finding in findings}
    if Answer.NONCONFORMITY in answers:
        return Conclusion.NONCONFORMING
    return Conclusion.UNVERIFIED if Answer.UNVERIFIED in answers else Conclusion.CONFORMING


def a_judged(
    at: datetime = FIRST,
    datasets: Mapping[str, Iterable[Finding]] | None = None,
    *,
    estate_findings: Iterable[Finding] = (),
    whole: bool = True,
    rehearsal: bool = False,
) -> JudgedEstate:
    """An audit that began at `at`, with these findings by dataset."""
    judged = tuple(a_judged_dataset(name, found, at) for name, found in (datasets or {}).items())
    own = tuple(estate_findings)
    every = [finding for dataset in judged for finding in dataset.findings] + list(own)
    return JudgedEstate(
        estate="Saltreach Field Station",
        time_zone="Europe/Dublin",
        started=at,
        finished=at + timedelta(minutes=20),
        rehearsal=rehearsal,
        conclusion=concluded(every),
        datasets=judged,
        findings=own,
        whole=whole,
    )


def a_box_answer(
    key: VolumeKey = KESTREL, at: datetime = FIRST, *, capacity: int | None = None, free: int | None = None
) -> BoxAnswer:
    """What a device with one volume showed."""
    shown = DeviceFacts(
        device=key.device,
        at=at,
        over="ssh",
        machine_id=f"machine of {key.device}",
        host_key="SHA256:abc",
        is_guest=False,
        own_addresses=frozenset({"192.0.2.7", "kestrel.example"}),
        clock_offset=timedelta(microseconds=-1500),
        clock_uncertainty=timedelta(milliseconds=20),
        time_zone="Europe/Dublin",
    )
    volume = VolumeFacts(
        volume=key,
        at=at,
        path="/srv/main",
        filesystem_type="ext4",
        filesystem_uuid="6c2e0000-0000-0000-0000-000000000001",
        drives=frozenset({"SERIAL-1", "SERIAL-2"}),
        on_root=False,
        rotational=True,
        capacity=capacity,
        free=free,
    )
    return BoxAnswer(device=a_device(key), at=at, facts=shown, volumes=(volume,), trees=())

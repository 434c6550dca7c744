"""Builders of judged estates for the reports: what an audit would hand over, without an audit."""

from __future__ import annotations

import zlib
from collections.abc import Mapping
from dataclasses import replace
from datetime import UTC, datetime, time, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

from coverage_audit.estate.access import Access, LocalAccess, ShelfAccess, SshAccess
from coverage_audit.estate.model import (
    Address,
    Copy,
    Dataset,
    DatasetId,
    Device,
    DeviceId,
    Estate,
    Medium,
    Policy,
    PolicyId,
    Proof,
    Schedule,
    Site,
    SiteId,
    Volume,
    VolumeId,
    VolumeKey,
)
from coverage_audit.evidence.difference import (
    CopyComparison,
    Exposure,
    Mode,
    RowClass,
    RowVerdict,
    Sample,
    Tally,
)
from coverage_audit.evidence.facts import (
    DeviceFacts,
    Gap,
    GapKind,
    IdentityCheck,
    PinnedFact,
    PinState,
    VolumeFacts,
)
from coverage_audit.evidence.manifest import Census, CompleteManifest, Origin
from coverage_audit.judgement.case import CopyEvidence, OriginalEvidence, PlaceEvidence
from coverage_audit.judgement.verdict import (
    Answer,
    Conclusion,
    EvidenceItem,
    Finding,
    JudgedCopy,
    JudgedDataset,
    JudgedEstate,
    JudgedOriginal,
    Standing,
)
from tests.builders.limits import some_limits

NOW = datetime(2026, 11, 25, 4, 31, tzinfo=UTC)
STARTED = datetime(2026, 11, 25, 4, 10, tzinfo=UTC)
DUBLIN = ZoneInfo("Europe/Dublin")

_DEVICES: tuple[tuple[str, str, Access, Medium], ...] = (
    ("kestrel", "station", LocalAccess(), Medium.HDD),
    ("heron", "station", SshAccess(host="heron.example", user="auditor"), Medium.HDD),
    ("curlew", "barn", SshAccess(host="curlew.example", user="auditor"), Medium.HDD),
    ("shelf-b", "barn", ShelfAccess(), Medium.SSD),
)
_VOLUMES = {"kestrel": "main", "heron": "pool", "curlew": "store", "shelf-b": "drive"}


def key(device: str) -> VolumeKey:
    return VolumeKey(device=DeviceId(device), volume=VolumeId(_VOLUMES[device]))


def address(device: str, path: str) -> Address:
    return Address(volume=key(device), path=path)


def an_estate(datasets: tuple[JudgedDataset, ...] = (), *, rehearsal: bool = False) -> Estate:
    devices = tuple(
        Device(
            id=DeviceId(name),
            site=SiteId(site),
            access=access,
            volumes=(Volume(key=key(name), path=f"/srv/{_VOLUMES[name]}", medium=medium, offline=name == "shelf-b"),),
            in_service=datetime(2019, 3, 2, tzinfo=UTC).date() if name == "kestrel" else None,
        )
        for name, site, access, medium in _DEVICES
    )
    return Estate(
        name="Saltreach Field Station",
        time_zone=DUBLIN,
        sites=(Site(id=SiteId("station"), name="Field station"), Site(id=SiteId("barn"), name="Long Barn")),
        devices=devices,
        policies=(
            Policy(id=PolicyId("irreplaceable"), copies=3, max_age=timedelta(hours=26), media=2, offsite=1, offline=1),
        ),
        datasets=tuple(
            Dataset(
                id=dataset.id,
                policy=PolicyId("irreplaceable"),
                original=dataset.original.evidence.tree.origin.address
                if isinstance(dataset.original.evidence.tree, CompleteManifest)
                else address("kestrel", dataset.id),
                copies=tuple(copy.evidence.copy for copy in dataset.copies),
            )
            for dataset in datasets
        ),
        limits=some_limits(),
        schedule=Schedule(audit=time(4, 10)),
        rehearsal=rehearsal,
    )


def a_place(estate: Estate, device: str, *, gap: Gap | None = None) -> PlaceEvidence:
    """A device that shows itself, or one of which nothing was seen (`gap`)."""
    declared = estate.device(DeviceId(device))
    volume = declared.volumes[0]
    if gap is not None:
        return PlaceEvidence(device=declared, volume=volume, device_facts=gap, volume_facts=gap, identity=gap)
    facts = VolumeFacts(
        volume=volume.key,
        at=STARTED,
        path=volume.path,
        filesystem_type="ext4",
        filesystem_uuid=f"6c2e0000-0000-4000-8000-{hash_of(device):012x}",
        mount_source="/dev/sda1",
        mount_target=volume.path,
        fs_root="/",
        device_number="8:1",
        drives=frozenset({f"naa.5000c500{hash_of(device):08x}"}),
        on_root=False,
        capacity=8_001_563_222_016,
        free=1_240_000_000_000,
    )
    pins = (
        PinnedFact(name="filesystem_uuid", value=facts.filesystem_uuid or ""),
        PinnedFact(name="mount_source", value="/dev/sda1"),
    )
    return PlaceEvidence(
        device=declared,
        volume=volume,
        device_facts=DeviceFacts(
            device=declared.id,
            at=STARTED,
            over="ssh",
            machine_id="0123456789abcdef0123456789abcdef",
            clock_offset=timedelta(milliseconds=12),
            clock_uncertainty=timedelta(milliseconds=3),
            time_zone="Europe/Dublin",
        ),
        volume_facts=facts,
        identity=IdentityCheck(volume=volume.key, state=PinState.AS_PINNED, pinned=pins, seen=pins),
    )


def hash_of(text: str) -> int:
    return zlib.crc32(text.encode()) & 0x7FFFFFFF


def a_manifest(where: Address, files: int = 18_204, size: int = 212_000_000_000) -> CompleteManifest:
    return CompleteManifest(
        file=Path("m.parquet"),
        origin=Origin(
            address=where, root="/srv/main", how="gnu find", started=STARTED, finished=STARTED + timedelta(minutes=2)
        ),
        census=Census(entries=files + 900, files=files, bytes=size, granularity_ns=1),
    )


_NONE = Tally()
_NOTHING_EXPOSED = Exposure(files=0, bytes=0)


def a_comparison(
    *, missing: Tally = _NONE, changed: Tally = _NONE, pending: Tally = _NONE, samples: tuple[Sample, ...] = ()
) -> CopyComparison:
    whole = Tally(files=18_204, bytes=212_000_000_000)
    lacking = missing + changed
    return CopyComparison(
        original_at=STARTED,
        copy_at=STARTED,
        mode=Mode(granularity_ns=1),
        original=whole,
        same=Tally(files=whole.files - lacking.files, bytes=whole.bytes - lacking.bytes),
        missing=missing,
        changed=changed,
        extra=Tally(files=3, bytes=4_096),
        left_out=Tally(files=12, bytes=88_000),
        pending=pending,
        samples=samples,
    )


def a_sample(path: bytes, verdict: RowVerdict = RowVerdict.COUNTS) -> Sample:
    return Sample(
        path=path,
        row_class=RowClass.MISSING,
        verdict=verdict,
        size=4_200_000,
        mtime_ns=1_790_000_000 * 10**9,
        earliest_ns=None,
        latest_ns=1_790_000_000 * 10**9,
    )


def a_copy(
    estate: Estate,
    where: Address,
    *,
    standing: Standing = Standing.PROVEN,
    age: timedelta | None = timedelta(hours=22),
    reason: str = "holds all of the original",
    comparison: CopyComparison | None = None,
    gap: Gap | None = None,
    max_age: timedelta | None = None,
    proof: Proof = Proof.LISTED,
    remarks: tuple[str, ...] = (),
) -> JudgedCopy:
    device = estate.device(where.volume.device)
    point = NOW - age if age is not None else None
    seen = gap is None
    return JudgedCopy(
        address=where,
        site=estate.site(device.site).id,
        medium=device.volumes[0].medium.value,
        standing=standing,
        proof=proof if seen else Proof.DECLARED,
        by_size=False,
        recovery_point=point,
        recovery_point_trimmed=point,
        reason=reason,
        remarks=remarks,
        evidence=CopyEvidence(
            copy=Copy(address=where, max_age=max_age),
            place=a_place(estate, device.id, gap=gap),
            comparison=(comparison or a_comparison()) if seen else None,
            gap=gap,
            tree_at=STARTED if seen else None,
        ),
    )


def a_finding(
    rule: str,
    subject: str,
    answer: Answer = Answer.NONCONFORMITY,
    *,
    message: str = "One copy fewer than the policy demands.",
    measured: str = "2 copies",
    required: str = "3 copies",
    mend: str = "Start the copy to heron again, then audit this dataset.",
    evidence: tuple[EvidenceItem, ...] = (),
) -> Finding:
    return Finding(
        rule=rule,
        subject=subject,
        answer=answer,
        measured=measured,
        required=required,
        message=message,
        mend=mend,
        evidence=evidence,
        control="supports evidence for ISO/IEC 27002:2022 8.13",
    )


def an_item(what: str = "18 204 files listed", where: str = "heron:pool/mirror") -> EvidenceItem:
    return EvidenceItem(what=what, where=where, at=STARTED, how="gnu find over SSH")


def a_dataset(
    name: str,
    copies: tuple[JudgedCopy, ...],
    *,
    conclusion: Conclusion = Conclusion.CONFORMING,
    findings: tuple[Finding, ...] = (),
    exposure: Exposure | None = _NOTHING_EXPOSED,
    tree: CompleteManifest | Gap | None = None,
    estate: Estate | None = None,
    waived: int = 0,
) -> JudgedDataset:
    place = a_place(estate or an_estate(), "kestrel")
    known = tree if tree is not None else a_manifest(address("kestrel", name))
    return JudgedDataset(
        id=DatasetId(name),
        policy="irreplaceable",
        conclusion=conclusion,
        original=JudgedOriginal(
            standing=Standing.UNVERIFIED if isinstance(known, Gap) else Standing.PROVEN,
            reason="seen now, on the volume pinned",
            evidence=OriginalEvidence(place=place, tree=known),
            proof=Proof.LISTED,
        ),
        copies=copies,
        exposure=exposure,
        findings=findings,
        waived=waived,
    )


def judged(
    datasets: tuple[JudgedDataset, ...],
    *,
    conclusion: Conclusion | None = None,
    findings: tuple[Finding, ...] = (),
    gaps: tuple[Gap, ...] = (),
    rehearsal: bool = False,
    waived: int = 0,
    whole: bool = True,
) -> JudgedEstate:
    worst = [Conclusion.NONCONFORMING, Conclusion.UNVERIFIED, Conclusion.CONFORMING]
    found = min((dataset.conclusion for dataset in datasets), key=worst.index, default=Conclusion.CONFORMING)
    places = [dataset.original.evidence.place for dataset in datasets]
    places += [copy.evidence.place for dataset in datasets for copy in dataset.copies]
    checks: dict[VolumeKey, IdentityCheck] = {}
    for place in places:
        if isinstance(place.identity, IdentityCheck):
            checks.setdefault(place.volume.key, place.identity)
    return JudgedEstate(
        estate="Saltreach Field Station",
        time_zone="Europe/Dublin",
        started=STARTED,
        finished=NOW,
        rehearsal=rehearsal,
        conclusion=conclusion or found,
        datasets=datasets,
        findings=findings,
        identities=tuple(checks.values()),
        gaps=gaps,
        waived=waived,
        whole=whole,
    )


def a_gap(subject: str = "curlew", kind: GapKind = GapKind.UNREACHABLE, detail: str = "no route to the box") -> Gap:
    return Gap(subject=subject, kind=kind, detail=detail, at=STARTED)


def since_all(judged_estate: JudgedEstate, days: int = 3) -> Mapping[str, datetime]:
    """As the ledger would say it: every open finding began some days ago."""
    found = (*judged_estate.findings, *(each for dataset in judged_estate.datasets for each in dataset.findings))
    return {finding.id: NOW - timedelta(days=days) for finding in found}


def renamed(dataset: JudgedDataset, name: str) -> JudgedDataset:
    return replace(dataset, id=DatasetId(name))
